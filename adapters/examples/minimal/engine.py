"""Rill-1, a light engine with one lag, behind the wire protocol on standard streams. Standard library only."""

import json
import math
import sys

INPUTS = {"throttle": ("1", -0.01, 1.01), "pressure_altitude": ("ft", -2000.0, 36000.0)}
OUTPUTS = {"manifold_pressure": ("inHg",), "engine_speed": ("rpm",)}


def must(holds, message):
    if not holds:
        raise ValueError(message)


class Engine:
    def __init__(self, row, engine, seconds, names):
        self.row, self.seconds, self.names = row, seconds, names
        self.turns = {"running": 1.0, "stopped": 0.0}[engine]
        self.speed = self.turns * self.aim()

    def aim(self):  # the rpm that the throttle asks for
        return 700.0 + 1700.0 * self.row["throttle"]

    def step(self, row):  # a lag of 1.5 s, solved exactly for inputs held over the step
        self.row = row
        self.speed = self.turns * (self.aim() + (self.speed - self.aim()) * math.exp(-self.seconds / 1.5))
        return self.read()

    def read(self):  # the air of the standard atmosphere, less the suction past the throttle
        outside = 29.92126 * (1.0 - 6.8755856e-6 * self.row["pressure_altitude"]) ** 5.255876
        drop = (0.06 + 0.6 * (1.0 - self.row["throttle"]) ** 2) * min(self.speed / self.aim(), 1.1) ** 2
        values = {"manifold_pressure": outside * (1.0 - drop), "engine_speed": self.speed}
        return [values[name] for name in self.names]


class Model:
    def hello(self, asked):
        must(1 in asked["protocols"], "this model speaks protocol 1")
        inputs, outputs = ([{"name": n, "unit": s[0]} for n, s in side.items()] for side in (INPUTS, OUTPUTS))
        said = {"protocol": 1, "model": {"name": "Rill-1", "version": "1"}, "derived_from": "invented"}
        return {**said, "inputs": inputs, "outputs": outputs, "capabilities": {"lanes": 64}}

    def initialise(self, asked):
        ticks, ins, outs, starts = map(asked.get, ("step_ticks", "inputs", "outputs", "starts"))
        must(type(ticks) is int and ticks > 0 and 18000 % ticks == 0, "step_ticks must divide 18000")
        for names, known in ((ins, INPUTS), (outs, OUTPUTS)):
            must(sorted(names) == sorted({*names} & {*known}), f"known are {', '.join(known)}, each once")
        must(1 <= len(starts) <= 64, "starts must hold 1 to 64 lanes")
        rows = [(self.checked(start["row"], ins), start["engine"]) for start in starts]
        self.inputs, self.engines = ins, [Engine(*row, ticks / 36000.0, outs) for row in rows]
        return {"rows": [engine.read() for engine in self.engines]}

    def advance(self, asked):  # all is checked before anything moves: a refusal must change nothing
        lanes = [self.engines[k] for k in asked["lanes"] if type(k) is int and k >= 0]
        must(len({*lanes}) == len(asked["lanes"]), "a lane must be a whole number, named once")
        rows = [[self.checked(values, self.inputs) for values in row] for row in asked["rows"]]
        pairs = [list(zip(lanes, row, strict=True)) for row in rows]
        return {"rows": [[engine.step(values) for engine, values in row] for row in pairs]}

    def checked(self, row, names):
        must(type(row) is list, "a row must be a list of numbers")
        for name, value in zip(names, row, strict=True):
            fits = type(value) in (int, float) and INPUTS[name][1] <= value <= INPUTS[name][2]
            must(fits, f"{name} is no number within its range")
        return {**dict.fromkeys(INPUTS, 0.0), **dict(zip(names, row, strict=True))}


model, method = Model(), None
methods = {"hello": model.hello, "initialise": model.initialise, "advance": model.advance}
methods["reset"] = methods["close"] = lambda asked: vars(model).clear() or {}
while method != "close" and (line := sys.stdin.readline()):
    identity = method = None
    try:
        request = json.loads(line)
        identity, method = request["id"], request["method"]
        reply = {"id": identity, "result": methods[method](request["params"])}
    except (ValueError, TypeError, LookupError, AttributeError) as reason:
        method, reply = None, {"id": identity, "error": {"code": "bad_request", "message": str(reason)}}
    print(json.dumps(reply), flush=True)
