// Rill-6, an invented unsupercharged light six with a constant-speed propeller. A simulated engine; never a power
// setting for a real one. SI inside, trade units at the edges. Relations are those of textbooks on piston engines and
// propellers, written from memory where no source is named; every coefficient is invented for the demonstration.

const R = 287.053, CP = 1004.7; // J/(kg K), air
const INHG = 3386.389, HP = 745.69987, LBF_FT = 1.3558179, LB = 0.45359237;
const RPM = 30 / Math.PI; // of one rad/s
const CHOKED = 0.528, CHOKED_FLOW = 0.6847; // k = 1.4: critical ratio, and m sqrt(R T) / (A p) there

const PART_TICKS = 180; // inner part: at most 5 ms
const SETTLE_SECONDS = 40; // a running start is marched this long with its inputs held

const SWEPT = 0.0095; // m3 (580 cu in)
const RATED = 2700 / RPM;
const MANIFOLD_VOLUME = 0.014; // m3
const INERTIA = 4.0; // crank and propeller, kg m2
const THROTTLE_OPEN = 0.0024, THROTTLE_IDLE = 0.00003; // m2
const INTAKE_LOSS = 48000; // Pa at 1 kg/s and 1.225 kg/m3: filter and duct
const INDICATED = 1.165e6; // J a kg of dry air at the best mixture
const OVERLAP = 0.15; // share of the charge lost for exhaust pressure equal to one more manifold pressure
const WALL = 430, WALL_SHARE = 0.45; // K; heat taken up on the way in
const LINKAGE = 1.0, GOVERNOR_LAG = 0.15, AIR_SOAK = 1.0, PROBE = 1.5; // s
const ARM = 0.7 * 1.02, BLADES_AREA = 0.44; // m; m2
const FINE = 0.192, COARSE = 0.6632; // rad: 11 and 38 degrees

// Fuel over air by mixture state, held at every height (compensated).
const MIXTURES = [0, 0.066, 0.0765, 0.092];

export const INPUTS = [
  { name: 'throttle', unit: '1', least: -0.01, most: 1.01, absent: 0 },
  { name: 'propeller', unit: '1', least: -0.01, most: 1.01, absent: 1 },
  {
    name: 'mixture', unit: '1', least: 0, most: 3, absent: 2,
    states: ['cut_off', 'auto_lean', 'auto_rich', 'full_rich'],
  },
  { name: 'pressure_altitude', unit: 'ft', least: -2000, most: 50000, absent: 0 },
  { name: 'temperature_offset', unit: 'K', least: -80, most: 80, absent: 0 },
  { name: 'relative_humidity', unit: '1', least: 0, most: 1, absent: 0 },
  { name: 'true_airspeed', unit: 'kt', least: 0, most: 400, absent: 0 },
];

export const OUTPUTS = [
  ['manifold_pressure', 'inHg'], ['engine_speed', 'rpm'], ['brake_power', 'hp'], ['torque', 'lbf.ft'],
  ['fuel_flow', 'lb/h'], ['carburettor_air_temperature', 'degC'], ['carburettor_deck_pressure', 'inHg'],
  ['manifold_temperature', 'degC'], ['exhaust_gas_temperature', 'degC'], ['throttle_position', '1'],
  ['ambient_pressure', 'inHg'], ['ambient_temperature', 'degC'], ['blade_angle', 'deg'],
].map(([name, unit]) => ({ name, unit }));

// Seeded defects, each a slip somebody could honestly make.
export const DEFECTS = [
  'altitude-power-by-density', 'mixture-order-swapped', 'cut-off-keeps-running', 'instant-response',
];

const clip = (x, low, high) => (x < low ? low : x > high ? high : x);

// Standard atmosphere (SFTE Reference Handbook 2013, ch. 3) with the temperature offset at unchanged pressure; vapour
// by Buck's saturation formula (from memory); ram 0.7 of the stagnation rise (same handbook, sec. 10.3).
export function breathe(altitude, offset, humidity, airspeed) {
  let theta = 1 - 6.8755856e-6 * altitude;
  let delta = theta ** 5.255876;
  if (theta < 0.751865) {
    theta = 0.751865;
    delta = 0.223361 * Math.exp(-4.8063e-5 * (altitude - 36089.24));
  }
  const pressure = 101325 * delta;
  const temperature = 288.15 * theta + offset;
  const celsius = temperature - 273.15;
  const saturated = 611.21 * Math.exp(((18.678 - celsius / 234.5) * celsius) / (257.14 + celsius));
  const velocity = airspeed * 0.514444;
  const mach2 = velocity ** 2 / (1.4 * R * temperature);
  return {
    altitude, offset, humidity, airspeed, pressure, temperature, velocity,
    dry: 1 - clip((humidity * saturated) / pressure, 0, 0.5),
    density: pressure / (R * temperature),
    ram: 1 + 0.7 * ((1 + 0.2 * mach2) ** 3.5 - 1),
    intake: temperature + (0.5 * velocity ** 2) / CP,
  };
}

// Flow through a restriction over its choked flow, by the ellipse that runs close to the isentropic nozzle curve
// (within 1 %); straight for the last 0.2 % so that its slope stays finite.
function passage(ratio) {
  if (ratio <= CHOKED) return 1;
  const knee = 0.998;
  if (ratio > knee) return ((1 - ratio) / (1 - knee)) * passage(knee);
  const x = (ratio - CHOKED) / (1 - CHOKED);
  return Math.sqrt(1 - x * x);
}

// Power against mixture: best near 0.076, 0.89 at 0.060 and 0.95 at 0.100; nothing outside the combustible range.
function mixturePower(ratio) {
  if (ratio <= 0.045 || ratio >= 0.135) return 0;
  if (ratio < 0.076) return 1 - 0.11 * ((0.076 - ratio) / 0.016) ** 2;
  return 1 - 0.05 * ((ratio - 0.076) / 0.024) ** 2;
}

function fuelAir(state, defect) {
  if (defect === 'mixture-order-swapped' && state > 0) return MIXTURES[4 - state];
  if (defect === 'cut-off-keeps-running' && state === 0) return MIXTURES[1];
  return MIXTURES[state];
}

export class Engine {
  // `input` holds the inputs in the order of INPUTS; `running` is false for a cold engine that stands still.
  constructor(running, input, defect) {
    this.defect = defect;
    this.still = !running;
    this.air = breathe(input[3], input[4], input[5], input[6]);
    this.throttle = clip(input[0], 0, 1);
    this.propeller = clip(input[1], 0, 1);
    this.blade = FINE;
    this.flow = 0;
    this.standStill();
    if (!running) return;
    this.crank = 0.5 * RATED;
    this.exhaust = 900;
    const warm = [...input];
    if (warm[2] === 0) warm[2] = 2; // it has been running until now
    const parts = (SETTLE_SECONDS * 36000) / PART_TICKS;
    for (let i = 0; i < parts; i++) this.part(warm, PART_TICKS / 36000);
  }

  standStill() {
    this.crank = 0;
    this.torque = 0;
    this.fuel = 0;
    this.deck = this.air.pressure * this.air.ram;
    this.manifold = this.deck;
    this.soaked = this.air.intake;
    this.charge = this.air.intake;
    this.exhaust = this.air.intake;
  }

  // One grid step of `ticks` (1/36000 s) with the inputs held, in equal inner parts.
  step(input, ticks) {
    const { altitude, offset, humidity, airspeed } = this.air;
    if (input[3] !== altitude || input[4] !== offset || input[5] !== humidity || input[6] !== airspeed) {
      this.air = breathe(input[3], input[4], input[5], input[6]);
    }
    if (this.still) {
      this.throttle = clip(input[0], 0, 1);
      this.standStill();
      return;
    }
    const parts = Math.ceil(ticks / PART_TICKS);
    for (let i = 0; i < parts; i++) this.part(input, ticks / 36000 / parts);
  }

  part(input, dt) {
    const instant = this.defect === 'instant-response';
    const linkage = instant ? 0 : LINKAGE;
    this.throttle += ((clip(input[0], 0, 1) - this.throttle) * dt) / (linkage + dt);
    this.propeller += ((clip(input[1], 0, 1) - this.propeller) * dt) / (GOVERNOR_LAG + dt);
    this.soaked += ((this.air.intake - this.soaked) * dt) / (AIR_SOAK + dt);
    const firing = clip((this.crank - 14) / 8, 0, 1);
    const ratio = fuelAir(input[2], this.defect);
    const power = mixturePower(ratio) * firing;
    this.charge = this.soaked - 200 * ratio * firing; // fuel evaporating
    const drawn = this.breathing(ratio * firing, dt);
    this.fuel = drawn * this.air.dry * ratio * firing;
    const rise = power > 0 ? (640 + 160 * clip(drawn / 0.25, 0, 1)) / (1 + (13 * (ratio - 0.067)) ** 2) : 15;
    this.exhaust += ((this.trapped() + rise * (power > 0 ? firing : 1) - this.exhaust) * dt) / (PROBE + dt);
    this.turn(INDICATED * drawn * this.air.dry * power, drawn, dt, instant ? INERTIA / 25 : INERTIA);
  }

  // Charge temperature when the inlet valve shuts: heat from the walls is why power falls as about the root of the
  // intake temperature.
  trapped() {
    return this.charge + WALL_SHARE * (WALL - this.charge);
  }

  // Throttle and cylinders around the manifold volume, filled semi-implicitly; returns the air drawn, kg/s.
  breathing(ratio, dt) {
    const total = this.air.pressure * this.air.ram;
    const loss = (INTAKE_LOSS * 1.225 * R * this.soaked * this.flow ** 2) / total;
    this.deck += ((total - loss - this.deck) * dt) / (0.03 + dt);
    const opening = this.throttle * (0.1 + 0.9 * this.throttle);
    const full = ((THROTTLE_IDLE + THROTTLE_OPEN * opening) * this.deck * CHOKED_FLOW) / Math.sqrt(R * this.soaked);
    const here = passage(this.manifold / this.deck);
    const slope = ((passage(this.manifold / this.deck - 1e-5) - here) * 1e5 * full) / this.deck;
    // Burnt gas left behind takes room; with valve overlap the effect is about half as large again as ideal.
    const residual = clip(1 - OVERLAP * (this.air.pressure / this.manifold - 1), 0.15, 1.15);
    let temperature = this.trapped();
    if (this.defect === 'altitude-power-by-density') temperature *= (this.soaked / 288.15) ** 0.545;
    const drawn = (1.02 * residual * this.manifold * SWEPT * this.crank) / (4 * Math.PI * R * temperature);
    const gas = (R * (this.charge + 200 * ratio) * dt) / MANIFOLD_VOLUME;
    const into = full * here;
    const change = (gas * (into - drawn)) / (1 + gas * (slope + drawn / this.manifold));
    this.manifold = Math.max(this.manifold + change, 500);
    this.flow = Math.max(into - slope * change, 0);
    return drawn;
  }

  // Torque balance, crank and propeller governor. Rubbing does not know the height; gas-exchange loss follows the
  // density of what is moved (NACA Report 108).
  turn(indicated, drawn, dt, inertia) {
    const speed = Math.max(this.crank, 1);
    const volume = SWEPT / (4 * Math.PI);
    let rubbing = 24e3 + 75 * this.crank;
    if (this.defect === 'altitude-power-by-density') rubbing *= this.air.density / 1.225;
    const exchange = (0.65 * this.crank ** 2 * this.manifold) / 101325;
    const pumping = this.crank > 0 ? this.manifold - this.air.pressure - exchange : 0;
    this.torque = indicated / speed + (pumping - rubbing) * volume;
    const balance = this.torque - this.propellerTorque();
    const held = this.crank <= 0 && balance < 0;
    const rate = held ? 0 : balance / inertia;
    const target = RATED * (0.6 + 0.4 * this.propeller);
    const ease = inertia / INERTIA;
    const turned = clip(0.0028 * (this.crank - target) + 0.0032 * ease * rate, -0.2, 0.2);
    this.blade = clip(this.blade + turned * dt, FINE, COARSE);
    this.crank = Math.max(this.crank + rate * dt, 0);
    if (this.crank <= 0) this.torque = 0;
  }

  // One blade station at 0.7 radius, half the incidence taken as induced flow.
  propellerTorque() {
    const turning = ARM * this.crank;
    const wind = this.air.velocity;
    const inflow = turning > 0 || wind > 0 ? Math.atan2(wind, turning) : 0;
    const alpha = 0.5 * (this.blade - inflow);
    const angle = inflow + alpha;
    const lift = (5.7 * alpha) / Math.sqrt(1 + ((5.7 * alpha) / 1.5) ** 2);
    const stall = Math.max(Math.abs(alpha) - 0.22, 0);
    const drag = 0.012 + 0.012 * lift * lift + 2 * stall * stall;
    const force = 0.5 * this.air.density * (turning ** 2 + wind ** 2) * BLADES_AREA;
    return force * ARM * (lift * Math.sin(angle) + drag * Math.cos(angle));
  }

  // Readings in the order and units of OUTPUTS.
  read() {
    return [
      this.manifold / INHG, this.crank * RPM, (this.torque * this.crank) / HP, this.torque / LBF_FT,
      (this.fuel * 3600) / LB, this.soaked - 273.15, this.deck / INHG, this.charge - 273.15, this.exhaust - 273.15,
      this.throttle, this.air.pressure / INHG, this.air.temperature - 273.15, (this.blade * 180) / Math.PI,
    ];
  }
}
