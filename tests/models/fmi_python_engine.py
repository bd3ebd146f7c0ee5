"""A lag engine that an exporter of the registry turns into a unit: its interpreter runs inside the unit."""

from pythonfmu.enums import Fmi2Causality, Fmi2Variability
from pythonfmu.fmi2slave import Fmi2Slave
from pythonfmu.variables import Boolean, Real


class PythonEngine(Fmi2Slave):
    author = "the tests"
    description = "manifold pressure follows the throttle with a lag"

    def __init__(self, **given):
        super().__init__(**given)
        self.throttle = 0.0
        self.lag = 2.0
        self.map = 10.0
        self.engine_speed = 400.0
        self.lamp = False
        continuous = {"variability": Fmi2Variability.continuous}
        self.register_variable(Real("throttle", causality=Fmi2Causality.input, start=0.0, **continuous))
        self.register_variable(
            Real("lag", causality=Fmi2Causality.parameter, variability=Fmi2Variability.tunable, start=2.0)
        )
        self.register_variable(Real("map", causality=Fmi2Causality.output, **continuous))
        self.register_variable(Real("engine_speed", causality=Fmi2Causality.output, **continuous))
        self.register_variable(
            Boolean("lamp", causality=Fmi2Causality.output, variability=Fmi2Variability.discrete)
        )

    def exit_initialization_mode(self):
        self.map = 10.0 + 20.0 * self.throttle
        self._follow()

    def _follow(self):
        self.engine_speed = 40.0 * self.map
        self.lamp = self.map > 25.0

    def do_step(self, current_time, step_size):
        print("a model that prints")
        target = 10.0 + 20.0 * self.throttle
        self.map += (target - self.map) * step_size / (self.lag + step_size)
        self._follow()
        return True
