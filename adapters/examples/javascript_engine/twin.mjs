#!/usr/bin/env node
// Two Rill-6 of engine.mjs side by side in one program, as in a twin. A simulated engine; never a power
// setting for a real one. The protocol knows nothing of several engines: each has columns of its own here, with its
// number behind their names (throttle_1, throttle_2), and the air is shared.
// usage: node twin.mjs [--defect NAME]
import process from 'node:process';
import { createInterface } from 'node:readline';
import { Engine, INPUTS as LEVERS_AND_AIR, OUTPUTS as READINGS } from './engine.mjs';

const ENGINES = [1, 2], LANES = 64, MAX_VALUES = 50000;
const AIR = ['pressure_altitude', 'temperature_offset', 'relative_humidity', 'true_airspeed'];
const DEFECTS = ['levers-crossed', 'manifolds-joined', 'second-echoes-first', 'mixture-of-one'];

// Our name of a signal, the engine it belongs to (none for the air) and its place in the single engine's list.
const behind = (signals) => ENGINES.flatMap((engine) => signals.map((signal, place) => ({ signal, engine, place })));
const columns = (signals) => [
  ...behind(signals).filter(({ signal }) => !AIR.includes(signal.name))
    .map((one) => ({ ...one, name: `${one.signal.name}_${one.engine}` })),
  ...signals.map((signal, place) => ({ signal, place, name: signal.name })).filter((one) => AIR.includes(one.name)),
];
const INPUTS = columns(LEVERS_AND_AIR);
const OUTPUTS = columns(READINGS);

const word = process.argv[3];
const defect = DEFECTS.includes(word) ? word : null;
let session = null;

function must(holds, message, code = 'bad_request') {
  if (!holds) throw Object.assign(new Error(message), { code });
}

function hello({ protocols }) {
  must(Array.isArray(protocols) && protocols.includes(1), 'this model speaks protocol 1', 'version');
  return {
    protocol: 1,
    model: { name: 'Rill-6 twin', version: '1' },
    derived_from: 'own physics, invented coefficients',
    inputs: INPUTS.map(({ name, signal }) => ({ name, unit: signal.unit, states: signal.states })),
    outputs: OUTPUTS.map(({ name, signal }) => ({ name, unit: signal.unit })),
    capabilities: {
      lanes: LANES, max_values: MAX_VALUES, reset: true, deterministic: true, settable_surroundings: true,
      save_state: false, clock: 'stepped',
    },
  };
}

function find(names, known) {
  must(Array.isArray(names) && names.length > 0 && new Set(names).size === names.length, 'a list of different names');
  return names.map((name) => {
    const found = known.find((one) => one.name === name);
    must(found, `unknown name ${JSON.stringify(name)}`);
    return found;
  });
}

function check(row) {
  must(Array.isArray(row) && row.length === session.inputs.length, 'a row must hold one number for each input');
  session.inputs.forEach(({ name, signal }, k) => {
    must(typeof row[k] === 'number' && row[k] >= signal.least && row[k] <= signal.most, `${name} is out of range`);
    must(!signal.states || Number.isInteger(row[k]), `${name} is not the number of a state`);
  });
}

// The inputs of one engine, in the order it knows: its own levers and the air of both.
function given(row, engine) {
  const values = LEVERS_AND_AIR.map((signal) => signal.absent);
  session.inputs.forEach((one, k) => {
    const mine = defect === 'levers-crossed' ? 3 - engine : engine;
    const shared = defect === 'mixture-of-one' && one.signal.name === 'mixture' ? 1 : mine;
    if (one.engine === undefined || one.engine === shared) values[one.place] = row[k];
  });
  return values;
}

function step(twin, row) {
  ENGINES.forEach((engine) => twin[engine - 1].step(given(row, engine), session.ticks));
  if (defect === 'manifolds-joined') { // a balance pipe with a lag of a second, from the first into the second
    twin[1].manifold += (twin[0].manifold - twin[1].manifold) * (1 - Math.exp(-session.ticks / 36000));
  }
}

function read(twin) {
  const values = twin.map((engine) => engine.read());
  return session.outputs.map(({ engine, place }) => {
    const shown = engine === undefined || defect === 'second-echoes-first' ? 1 : engine;
    const value = values[shown - 1][place];
    return Number.isFinite(value) ? Math.round(value * 1e6) / 1e6 : String(value);
  });
}

function initialise({ step_ticks: ticks, inputs, outputs, starts }) {
  must(Number.isInteger(ticks) && ticks > 0 && 18000 % ticks === 0, 'step_ticks must divide 18000');
  const before = session;
  session = { ticks, inputs: find(inputs, INPUTS), outputs: find(outputs, OUTPUTS), twins: [] };
  try {
    must(Array.isArray(starts) && starts.length > 0 && starts.length <= LANES, `starts must hold 1 to ${LANES} lanes`);
    for (const start of starts) {
      must(start && ['running', 'stopped'].includes(start.engine), 'a start needs engine = running or stopped');
      check(start.row);
    }
    session.twins = starts.map(({ engine, row }) => (
      ENGINES.map((number) => new Engine(engine === 'running', given(row, number), null))));
  } catch (trouble) {
    session = before; // a refused request changes nothing
    throw trouble;
  }
  return { rows: session.twins.map(read) };
}

function advance({ lanes, rows }) {
  must(session, 'initialise comes before advance');
  must(Array.isArray(lanes) && lanes.length > 0 && new Set(lanes).size === lanes.length, 'lanes must be different');
  must(lanes.every((lane) => session.twins[lane] && Number.isInteger(lane)), 'no such lane');
  must(Array.isArray(rows) && rows.length > 0, 'rows must be a list of at least one row');
  const widest = Math.max(session.inputs.length, session.outputs.length);
  must(rows.length * lanes.length * widest <= MAX_VALUES, `more than ${MAX_VALUES} numbers in one message`);
  for (const row of rows) {
    must(Array.isArray(row) && row.length === lanes.length, 'a row must hold one list for each lane named');
    row.forEach(check);
  }
  return {
    rows: rows.map((row) => row.map((values, k) => {
      const twin = session.twins[lanes[k]];
      step(twin, values);
      return read(twin);
    })),
  };
}

function forget() {
  session = null;
  return {};
}

const METHODS = new Map(Object.entries({ hello, initialise, advance, reset: forget, close: forget }));

function answer(line) {
  let request = null;
  try {
    try {
      request = JSON.parse(line);
    } catch (trouble) {
      must(false, `not JSON: ${trouble.message}`);
    }
    must(request !== null && typeof request === 'object' && !Array.isArray(request), 'a request is an object');
    const method = METHODS.get(request.method);
    must(method, `known: ${[...METHODS.keys()].join(', ')}`, 'unknown_method');
    return { id: request.id ?? null, result: method(request.params ?? {}) };
  } catch (trouble) {
    if (!trouble.code) throw trouble;
    return { id: request?.id ?? null, error: { code: trouble.code, message: trouble.message } };
  }
}

if (process.argv.length > 2 && !(process.argv[2] === '--defect' && defect && process.argv.length === 4)) {
  process.stderr.write(`usage: node twin.mjs [--defect NAME], with NAME one of: ${DEFECTS.join(', ')}\n`);
  process.exitCode = 2;
} else {
  for await (const line of createInterface({ input: process.stdin, crlfDelay: Infinity })) {
    if (line.trim() === '') continue;
    const reply = answer(line);
    process.stdout.write(`${JSON.stringify(reply)}\n`);
    if (reply.result && JSON.parse(line).method === 'close') break;
  }
  process.stdin.destroy();
}
