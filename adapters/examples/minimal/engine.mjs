// Rill-1, a light engine with one lag, behind the wire protocol on standard streams. Node alone, no packages.
import { createInterface } from 'node:readline';

const INPUTS = { throttle: ['1', -0.01, 1.01], pressure_altitude: ['ft', -2000, 36000] };
const OUTPUTS = { manifold_pressure: ['inHg'], engine_speed: ['rpm'] };
let session = {}; // the columns, the step in seconds and the engines

function must(holds, message) {
  if (!holds) throw new Error(message);
}

const aim = (row) => 700 + 1700 * row.throttle; // the rpm that the throttle asks for

function step(engine, row) { // a lag of 1.5 s, solved exactly for inputs held over the step
  engine.row = row;
  if (engine.turns) engine.speed = aim(row) + (engine.speed - aim(row)) * Math.exp(-session.seconds / 1.5);
  return readings(engine);
}

function readings({ row, speed }) { // the air of the standard atmosphere, less the suction past the throttle
  const outside = 29.92126 * (1 - 6.8755856e-6 * row.pressure_altitude) ** 5.255876;
  const drop = (0.06 + 0.6 * (1 - row.throttle) ** 2) * Math.min(speed / aim(row), 1.1) ** 2;
  const values = { manifold_pressure: outside * (1 - drop), engine_speed: speed };
  return session.outputs.map((name) => values[name]);
}

function checked(row, names) {
  must(Array.isArray(row) && row.length === names.length, 'a row must hold one number for each input');
  const values = { throttle: 0, pressure_altitude: 0 };
  for (const [i, name] of names.entries()) {
    const [, least, most] = INPUTS[name];
    must(typeof row[i] === 'number' && row[i] >= least && row[i] <= most, `${name} is no number within its range`);
    values[name] = row[i];
  }
  return values;
}

function hello({ protocols }) {
  must(protocols.includes(1), 'this model speaks protocol 1');
  const signals = (side) => Object.entries(side).map(([name, [unit]]) => ({ name, unit }));
  const said = { protocol: 1, model: { name: 'Rill-1', version: '1' }, derived_from: 'invented' };
  return { ...said, inputs: signals(INPUTS), outputs: signals(OUTPUTS), capabilities: { lanes: 64 } };
}

function initialise({ step_ticks: ticks, inputs, outputs, starts }) {
  must(Number.isInteger(ticks) && ticks > 0 && 18000 % ticks === 0, 'step_ticks must divide 18000');
  for (const [names, known] of [[inputs, INPUTS], [outputs, OUTPUTS]]) {
    const all = names.every((name) => Object.hasOwn(known, name)) && new Set(names).size === names.length;
    must(all, `known are ${Object.keys(known)}, each once`);
  }
  must(starts.length >= 1 && starts.length <= 64, 'starts must hold 1 to 64 lanes');
  must(starts.every(({ engine }) => ['running', 'stopped'].includes(engine)), 'engine is running or stopped');
  const rows = starts.map(({ engine, row }) => ({ turns: engine === 'running', row: checked(row, inputs) }));
  const engines = rows.map(({ turns, row }) => ({ turns, row, speed: turns ? aim(row) : 0 }));
  session = { inputs, outputs, seconds: ticks / 36000, engines };
  return { rows: engines.map(readings) };
}

function advance({ lanes, rows }) { // all is checked before anything moves: a refusal must change nothing
  must(lanes.every((k) => Number.isInteger(k) && k in session.engines), 'no such lane');
  const one = (row) => row.length === lanes.length && new Set(lanes).size === lanes.length;
  must(rows.every(one), 'a row must hold one list for each lane named, each once');
  const asked = rows.map((row) => row.map((values) => checked(values, session.inputs)));
  return { rows: asked.map((row) => row.map((values, k) => step(session.engines[lanes[k]], values))) };
}

const forget = () => (session = {}, {});
const METHODS = new Map(Object.entries({ hello, initialise, advance, reset: forget, close: forget }));
for await (const line of createInterface({ input: process.stdin })) {
  let id = null, name = null, reply;
  try {
    ({ id, method: name } = JSON.parse(line));
    reply = { id, result: METHODS.get(name)(JSON.parse(line).params) };
  } catch (reason) {
    [name, reply] = [null, { id, error: { code: 'bad_request', message: reason.message } }];
  }
  process.stdout.write(`${JSON.stringify(reply)}\n`);
  if (name === 'close') break;
}
process.stdin.destroy(); // or Node would wait for more
