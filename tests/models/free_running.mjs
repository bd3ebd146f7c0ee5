#!/usr/bin/env node
// Rill-6 (the engine of the JavaScript example) on a clock of its own: it can be told its levers and polled, no more.
// Replies wait a random while, as those of a program that has a picture to draw, and come from a timer of its own.
// usage: node free_running.mjs [--port N] [--rate R] [--seed N] [--by-request] [--no-reset] [--vice NAME]
//   [--above THROTTLE] [--defect NAME]
// --rate is seconds of its clock in one of ours; --by-request lets the clock go on by 0.1 s at each request instead, so
// that a conversation can be repeated word for word. --vice is what is wrong with the clock, from 10 s after a start on,
// or with --above from when the throttle is first told to stand beyond that.
import { once } from 'node:events';
import { createServer } from 'node:net';
import { performance } from 'node:perf_hooks';
import process from 'node:process';
import { DEFECTS, Engine, INPUTS, OUTPUTS } from '../../adapters/examples/javascript_engine/engine.mjs';

const FRAME_TICKS = 720; // 0.02 s
const TIMER = 4; // ms between two frames drawn at most
const REQUEST_FRAMES = 5;
const SLOW_SHARE = 0.1, SLOWEST = 4; // a tenth of the replies waits up to 4 ms

const TROUBLE = 10; // s
const VICES = ['stands-still', 'runs-back', 'runs-double', 'jumps-ahead', 'stamps-pictures'];

const options = { reset: true, rate: 1, seed: 1, byRequest: false, vice: null, above: null, defect: null, port: 0 };

// The generator mulberry32 (public domain): the same waits for the same seed.
function generator(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

class Refused extends Error {}

class Clocked {
  constructor() {
    this.inputs = INPUTS.map((signal) => signal.absent);
    this.begin('running');
  }

  begin(engine) {
    this.engine = new Engine(engine === 'running', this.inputs, options.defect);
    this.frames = 0;
    this.begun = performance.now();
    this.trouble = options.above === null ? TROUBLE : Infinity; // s of its clock at which the vice begins
  }

  // Steps the engine through the frames that are due.
  catchUp() {
    if (options.byRequest) return;
    let elapsed = ((performance.now() - this.begun) / 1000) * options.rate;
    if (options.vice === 'stands-still') elapsed = Math.min(elapsed, this.trouble);
    if (options.vice === 'runs-double') elapsed *= 2;
    const due = Math.floor(elapsed * (36000 / FRAME_TICKS));
    while (this.frames < due) this.frame();
  }

  frame() {
    this.engine.step(this.inputs, FRAME_TICKS);
    this.frames += 1;
  }

  // What it says the time is.
  get time() {
    const time = (this.frames * FRAME_TICKS) / 36000;
    if (time < this.trouble) return time;
    if (options.vice === 'runs-back') return time - 5;
    if (options.vice === 'jumps-ahead') return time + 60;
    if (options.vice === 'stamps-pictures') return Math.floor(time);
    return time;
  }

  set(values) {
    if (values === null || typeof values !== 'object') throw new Refused('values must be an object');
    const next = [...this.inputs];
    for (const [name, value] of Object.entries(values)) {
      const at = INPUTS.findIndex((signal) => signal.name === name);
      if (at < 0) throw new Refused(`no input ${JSON.stringify(name)}`);
      const { least, most, states } = INPUTS[at];
      if (typeof value !== 'number' || !(value >= least && value <= most) || (states && !Number.isInteger(value))) {
        throw new Refused(`${name} is out of range`);
      }
      next[at] = value;
    }
    this.inputs = next;
    const opened = options.above !== null && next[INPUTS.findIndex(({ name }) => name === 'throttle')] > options.above;
    if (opened) this.trouble = Math.min(this.trouble, (this.frames * FRAME_TICKS) / 36000);
  }

  values() {
    const read = this.engine.read();
    const shown = (value) => (Number.isFinite(value) ? Math.round(value * 1e6) / 1e6 : String(value));
    return Object.fromEntries(OUTPUTS.map(({ name }, at) => [name, shown(read[at])]));
  }
}

function hello(params) {
  if (!Array.isArray(params.protocols) || !params.protocols.includes(1)) throw new Refused('no protocol 1');
  return {
    protocol: 1,
    model: { name: 'Rill-6 on its own clock', version: '1' },
    derived_from: 'own physics, invented coefficients',
    inputs: INPUTS.map(({ name, unit, states }) => ({ name, unit, states })),
    outputs: OUTPUTS,
    capabilities: {
      lanes: 1, ...(options.reset ? { reset: true } : {}), deterministic: false, settable_surroundings: true,
      clock: 'free_running', rate: options.rate,
    },
  };
}

function answer(model, { method, params }) {
  if (options.byRequest) for (let i = 0; i < REQUEST_FRAMES; i++) model.frame();
  model.catchUp();
  if (method === 'hello') return hello(params);
  if (method === 'tell') {
    model.set(params.values);
    return { time: model.time };
  }
  if (method === 'poll') return { time: model.time, values: model.values() };
  if (method === 'reset' && options.reset) {
    if (!['running', 'stopped'].includes(params.engine)) throw new Refused('engine must be running or stopped');
    model.set(params.values);
    model.begin(params.engine);
    return {};
  }
  if (method === 'close') return {};
  throw new Refused(`no method ${JSON.stringify(method)}`);
}

async function serve(requests, replies) {
  const draw = generator(options.seed);
  const model = new Clocked();
  const timer = setInterval(() => model.catchUp(), TIMER);
  let pending = '';
  requests.setEncoding('utf8');
  for await (const chunk of requests) {
    const lines = (pending + chunk).split('\n');
    pending = lines.pop();
    for (const line of lines) {
      const request = JSON.parse(line);
      if (!options.byRequest && draw() < SLOW_SHARE) {
        await new Promise((go) => { setTimeout(go, draw() * SLOWEST); });
      }
      let reply;
      try {
        reply = { id: request.id, result: answer(model, request) };
      } catch (trouble) {
        if (!(trouble instanceof Refused)) throw trouble;
        reply = { id: request.id, error: { code: 'bad_request', message: trouble.message } };
      }
      replies.write(`${JSON.stringify(reply)}\n`);
      if (request.method === 'close') {
        clearInterval(timer);
        return;
      }
    }
  }
  clearInterval(timer);
}

async function listen(port) {
  const server = createServer({ noDelay: true });
  server.listen(port, '127.0.0.1');
  const [connection] = await once(server, 'connection');
  server.close();
  await serve(connection, connection);
  connection.end();
}

function read(words) {
  for (let i = 0; i < words.length; i++) {
    const word = words[i];
    if (word === '--by-request') options.byRequest = true;
    else if (word === '--no-reset') options.reset = false;
    else if (word === '--rate' && Number(words[i + 1]) > 0) options.rate = Number(words[++i]);
    else if (word === '--seed') options.seed = Number(words[++i]);
    else if (word === '--port') options.port = Number(words[++i]);
    else if (word === '--above') options.above = Number(words[++i]);
    else if (word === '--vice' && VICES.includes(words[i + 1])) options.vice = words[++i];
    else if (word === '--defect' && DEFECTS.includes(words[i + 1])) options.defect = words[++i];
    else return false;
  }
  return true;
}

if (!read(process.argv.slice(2))) {
  process.stderr.write('usage: node free_running.mjs [--port N] [--rate R] [--seed N] [--by-request] [--defect NAME]\n');
  process.exitCode = 2;
} else if (options.port) await listen(options.port);
else await serve(process.stdin, process.stdout);
