import numpy as np

from leverproof.errors import StandError
from leverproof.stand.port import Capabilities, Hello, Signal

INPUTS = (Signal("throttle", "1"), Signal("pressure_altitude", "ft"))
OUTPUTS = (Signal("manifold_pressure", "inHg"), Signal("engine_speed", "rpm"))
LAG = 1.5  # s


def must(holds, message):
    if not holds:
        raise StandError(message, code="refused")  # any other exception counts as a crash


class MyEngine:
    """All lanes at once, as arrays of one number a lane."""

    speed = np.empty(0)

    def hello(self):
        return Hello(
            model="my engine",
            version="1",
            inputs=INPUTS,
            outputs=OUTPUTS,
            capabilities=Capabilities(lanes=64),
            derived_from="invented",
        )

    def initialise(self, starts, step_ticks, inputs, outputs):
        must(step_ticks > 0 and 18000 % step_ticks == 0, "step_ticks must divide 18000")
        must({*inputs} <= {signal.name for signal in INPUTS}, "unknown input")
        must({*outputs} <= {signal.name for signal in OUTPUTS}, "unknown output")
        must(all(start.engine in ("running", "stopped") for start in starts), "running or stopped")
        rows = self.checked([start.row for start in starts], (len(starts), len(inputs)))
        self.inputs, self.outputs = list(inputs), list(outputs)
        self.kept = np.exp(-step_ticks / 36000.0 / LAG)  # of the way still to go, after a row
        self.turns = np.array([start.engine == "running" for start in starts])
        self.speed = self.turns * self.aim(rows)
        return self.readings(rows, self.speed)

    def advance(self, lanes, rows):
        lanes = list(lanes)
        must(all(0 <= lane < len(self.speed) for lane in lanes), "no such lane")
        rows = self.checked(rows, (len(rows), len(lanes), len(self.inputs)))
        reply = np.empty((len(rows), len(lanes), len(self.outputs)))
        for i, row in enumerate(rows):
            aim = self.aim(row)
            self.speed[lanes] = self.turns[lanes] * (aim + (self.speed[lanes] - aim) * self.kept)
            reply[i] = self.readings(row, self.speed[lanes])
        return reply

    def reset(self):
        self.speed = np.empty(0)

    def close(self):
        pass

    def checked(self, rows, shape):
        rows = np.array(rows, dtype=float)
        must(rows.shape == shape, f"rows of shape {rows.shape}, expected {shape}")
        return rows

    def column(self, rows, name):
        return rows[:, self.inputs.index(name)] if name in self.inputs else np.zeros(len(rows))

    def aim(self, rows):
        return 700.0 + 1700.0 * self.column(rows, "throttle")

    def readings(self, rows, speed):
        outside = 29.92126 * (1.0 - 6.8755856e-6 * self.column(rows, "pressure_altitude")) ** 5.255876
        closed = 1.0 - self.column(rows, "throttle")
        drop = (0.06 + 0.6 * closed**2) * np.minimum(speed / self.aim(rows), 1.1) ** 2
        values = {"manifold_pressure": outside * (1.0 - drop), "engine_speed": speed}
        return np.stack([values[name] for name in self.outputs], axis=1)


def factory(options, defect):
    return MyEngine()
