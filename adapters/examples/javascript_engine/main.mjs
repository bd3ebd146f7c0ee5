#!/usr/bin/env node
// The wire protocol over stdin and stdout, or over one TCP connection to a port of this machine: hello, initialise,
// advance, reset, close; one JSON object a line.
// usage: node main.mjs [--port N] [--defect NAME]
import { once } from 'node:events';
import { createServer } from 'node:net';
import process from 'node:process';
import { DEFECTS, Engine, INPUTS, OUTPUTS } from './engine.mjs';

const LANES = 256, MAX_VALUES = 50000, MAX_BYTES = 4 * 1024 * 1024, STEP_DIVIDES = 18000;

class Refused extends Error {
  constructor(message, code = 'bad_request') {
    super(message);
    this.code = code;
  }
}

function must(holds, message) {
  if (!holds) throw new Refused(message);
}

// The columns a session fixed, its step and its engines; null before `initialise` and after `reset`.
let session = null;
let defect = null;

function hello(params) {
  if (!Array.isArray(params.protocols) || !params.protocols.includes(1)) {
    throw new Refused('protocols must be a list that holds 1', 'version');
  }
  return {
    protocol: 1,
    model: { name: 'Rill-6', version: '1' },
    derived_from: 'own physics, invented coefficients',
    inputs: INPUTS.map(({ name, unit, states }) => ({ name, unit, states })),
    outputs: OUTPUTS,
    capabilities: {
      lanes: LANES, max_values: MAX_VALUES, reset: true, deterministic: true, settable_surroundings: true,
      save_state: false, clock: 'stepped',
    },
  };
}

function columns(names, known, what) {
  must(Array.isArray(names) && names.length > 0, `${what} must be a list of names`);
  must(new Set(names).size === names.length, `one of the ${what} is named twice`);
  return names.map((name) => {
    const found = known.findIndex((signal) => signal.name === name);
    must(found >= 0, `unknown name among the ${what}: ${JSON.stringify(name)}`);
    return found;
  });
}

function checkRow(row, inputs) {
  must(Array.isArray(row) && row.length === inputs.length, 'a row must hold one number for each input');
  for (let i = 0; i < row.length; i++) {
    const signal = INPUTS[inputs[i]];
    const value = row[i];
    must(typeof value === 'number' && Number.isFinite(value), `${signal.name} is not a finite number`);
    must(value >= signal.least && value <= signal.most, `${signal.name} is out of range`);
    must(!signal.states || Number.isInteger(value), `${signal.name} is not the number of a state`);
  }
}

function spread(row, inputs) {
  const values = INPUTS.map((signal) => signal.absent);
  for (let i = 0; i < row.length; i++) values[inputs[i]] = row[i];
  return values;
}

// Readings are rounded to a millionth of their unit; what is not finite travels as a word.
function readings(engine, outputs) {
  const values = engine.read();
  return outputs.map((k) => (Number.isFinite(values[k]) ? Math.round(values[k] * 1e6) / 1e6 : String(values[k])));
}

function initialise(params) {
  const { step_ticks: ticks, starts } = params;
  must(Number.isInteger(ticks) && ticks > 0 && STEP_DIVIDES % ticks === 0, 'step_ticks must divide 18000');
  const inputs = columns(params.inputs, INPUTS, 'inputs');
  const outputs = columns(params.outputs, OUTPUTS, 'outputs');
  must(Array.isArray(starts) && starts.length > 0 && starts.length <= LANES, `starts must hold 1 to ${LANES} lanes`);
  for (const start of starts) {
    must(start && ['running', 'stopped'].includes(start.engine), 'a start needs engine = running or stopped');
    checkRow(start.row, inputs);
  }
  const engines = starts.map((start) => new Engine(start.engine === 'running', spread(start.row, inputs), defect));
  session = { ticks, inputs, outputs, engines };
  return { rows: engines.map((engine) => readings(engine, outputs)) };
}

function advance(params) {
  must(session, 'initialise comes before advance');
  const { ticks, inputs, outputs, engines } = session;
  const { lanes, rows } = params;
  must(Array.isArray(lanes) && lanes.length > 0 && new Set(lanes).size === lanes.length, 'lanes must be different');
  must(lanes.every((lane) => Number.isInteger(lane) && lane >= 0 && lane < engines.length), 'no such lane');
  must(Array.isArray(rows) && rows.length > 0, 'rows must be a list of at least one row');
  const widest = Math.max(inputs.length, outputs.length);
  must(rows.length * lanes.length * widest <= MAX_VALUES, `more than ${MAX_VALUES} numbers in one message`);
  // The whole request is checked before any engine moves, so a refused one changes nothing.
  for (const row of rows) {
    must(Array.isArray(row) && row.length === lanes.length, 'a row must hold one list for each lane named');
    for (const lane of row) checkRow(lane, inputs);
  }
  return {
    rows: rows.map((row) => row.map((values, k) => {
      const engine = engines[lanes[k]];
      engine.step(spread(values, inputs), ticks);
      return readings(engine, outputs);
    })),
  };
}

function forget() {
  session = null;
  return {};
}

const METHODS = new Map(Object.entries({ hello, initialise, advance, reset: forget, close: forget }));

// The reply to one line, and whether the program shall end.
function answer(line) {
  let id = null;
  try {
    must(Buffer.byteLength(line) <= MAX_BYTES, 'message over 4 MiB');
    let request;
    try {
      request = JSON.parse(line);
    } catch (trouble) {
      throw new Refused(`not JSON: ${trouble.message}`);
    }
    must(request !== null && typeof request === 'object' && !Array.isArray(request), 'a request is an object');
    id = ['number', 'string'].includes(typeof request.id) ? request.id : null;
    const method = METHODS.get(request.method);
    if (!method) throw new Refused(`known: ${[...METHODS.keys()].join(', ')}`, 'unknown_method');
    const params = request.params ?? {};
    must(typeof params === 'object' && !Array.isArray(params), 'params must be an object');
    return [{ id, result: method(params) }, request.method === 'close'];
  } catch (trouble) {
    if (!(trouble instanceof Refused)) throw trouble;
    return [{ id, error: { code: trouble.code, message: trouble.message } }, false];
  }
}

async function serve(requests, replies) {
  let pending = '';
  requests.setEncoding('utf8');
  for await (const chunk of requests) {
    const lines = (pending + chunk).split('\n');
    pending = lines.pop();
    for (const line of lines) {
      if (line.trim() === '') continue;
      const [reply, over] = answer(line);
      replies.write(`${JSON.stringify(reply)}\n`);
      if (over) return;
    }
  }
}

// Takes one connection and hosts it until it closes; without delay, or a reply may wait 40 ms for more to come.
async function listen(port) {
  const server = createServer({ noDelay: true });
  server.listen(port, '127.0.0.1');
  const [connection] = await once(server, 'connection');
  server.close();
  await serve(connection, connection);
  connection.end();
}

// The options, or null when the command line is wrong.
function options(words) {
  const found = {};
  for (let i = 0; i < words.length; i += 2) {
    const [option, value] = [words[i], words[i + 1]];
    if (option === '--defect' && DEFECTS.includes(value)) found.defect = value;
    else if (option === '--port' && /^[1-9]\d{0,4}$/.test(value) && Number(value) < 65536) found.port = Number(value);
    else return null;
  }
  return found;
}

const asked = options(process.argv.slice(2));
if (asked === null) {
  process.stderr.write(`usage: node main.mjs [--port N] [--defect NAME], with NAME one of: ${DEFECTS.join(', ')}\n`);
  process.exitCode = 2;
} else {
  defect = asked.defect ?? null;
  if (asked.port === undefined) await serve(process.stdin, process.stdout);
  else await listen(asked.port);
}
