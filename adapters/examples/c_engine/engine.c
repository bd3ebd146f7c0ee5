/* Corrie-16, an invented engine: exhaust-driven compressor, intercooler with shutter, throttle, geared stage,
 * sixteen cylinders, constant-speed propeller. A simulated engine; never a power setting for a real one.
 *
 * Pressures in the ducts are a quasi-steady solve inside small filling volumes; what stores energy (turbo, crank,
 * gas in the manifold, metal around the carburettor air) is integrated. Relations are the usual ones of textbooks
 * on gas turbines and piston engines, written from memory; every coefficient is invented for the demonstration.
 */
#include "corrie.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { PART_TICKS = 225, SETTLE_PARTS = 60 * 160 }; /* 6.25 ms; a running start is marched for 60 s */

static const double R = 287.053, CP = 1004.7, CP_EXHAUST = 1148.2; /* exhaust gas as k = 4/3: cp = 4 R */
#define PI 3.14159265358979323846
#define RPM (30.0 / PI) /* of one rad/s */
static const double INHG = 3386.389;
static const double CHOKED = 0.528, CHOKED_FLOW = 0.6847; /* k = 1.4: critical ratio, m sqrt(RT) / (A p) there */

/* Geometry and coefficients of the invented engine. */
static const double SWEPT = 0.0367, COMPRESSION = 6.6, RATED = 303.69;         /* m3; -; rad/s = 2,900 rpm */
static const double MANIFOLD_VOLUME = 0.09, INERTIA = 20.0, TURBO_INERTIA = 0.042; /* m3; kg m2; kg m2 */
static const double GEAR = 8.3, BLOWER_RADIUS = 0.1395, BLOWER_EYE = 0.0125;   /* -; m; m2 */
static const double TURBO_RADIUS = 0.165, TURBO_EYE = 0.0165, WHEEL_RADIUS = 0.150; /* m; m2; m */
static const double NOZZLE = 0.0128, GATE = 0.030;                             /* m2 */
static const double THROTTLE_OPEN = 0.0130, THROTTLE_IDLE = 0.00017;           /* m2 */
static const double HEAD_SHUT = 0.66, HEAD_FALL = 1.5, WORK = 0.93;            /* radial blades: work about U^2 */
static const double DUCT_LOSS = 1400.0, COOLER_LOSS = 1500.0;                  /* Pa at 1 kg/s and 1.2 kg/m3 */
static const double PROPELLER_GEAR = 0.45, PROPELLER_RADIUS = 1.8, BLADES_AREA = 1.9; /* -; m; m2 */
static const double FINE = 0.2094, COARSE = 1.0123;                            /* rad: 12 and 58 degrees */
static const double STARTER = 700.0, STARTER_FREE = 31.4;                      /* N m at rest; rad/s = 300 rpm */
static const double LIGHT_ON = 21000.0 / RPM, LIGHT_OFF = 20800.0 / RPM;

static double clip(double x, double low, double high) { return x < low ? low : x > high ? high : x; }
static double power_3_5(double x) { return x * x * x * sqrt(x); }
static double square(double x) { return x * x; }

/* Standard atmosphere (SFTE Reference Handbook 2013, ch. 3), temperature offset at unchanged pressure; vapour by
 * Buck's saturation formula (from memory); ram 0.7 of the stagnation rise (same handbook, sec. 10.3). */
static void breathe(Air *air, const double input[INPUTS]) {
    air->altitude = input[IN_ALTITUDE];
    air->offset = input[IN_OFFSET];
    air->humidity = input[IN_HUMIDITY];
    air->airspeed = input[IN_AIRSPEED];
    double theta = 1.0 - 6.8755856e-6 * air->altitude, delta = pow(theta, 5.255876);
    if (theta < 0.751865) {
        theta = 0.751865;
        delta = 0.223361 * exp(-4.8063e-5 * (air->altitude - 36089.24));
    }
    air->pressure = 101325.0 * delta;
    air->temperature = 288.15 * theta + air->offset;
    double celsius = air->temperature - 273.15;
    double saturated = 611.21 * exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius));
    air->dry = 1.0 - clip(air->humidity * saturated / air->pressure, 0.0, 0.5);
    air->density = air->pressure / (R * air->temperature);
    air->velocity = air->airspeed * 0.514444;
    double mach2 = square(air->velocity) / (1.4 * R * air->temperature);
    air->ram = 1.0 + 0.7 * (power_3_5(1.0 + 0.2 * mach2) - 1.0);
}

/* Pressure ratio of a radial stage: ideal head falls with the square of the flow coefficient, and beyond 396 m/s tip
 * speed (NACA TN 794). The work put in stays WORK U^2, so head over work is the efficiency. */
static double stage_ratio(double tip, double flow_coefficient, double temperature) {
    double head = HEAD_SHUT - HEAD_FALL * square(flow_coefficient);
    if (tip > 396.0) head -= 0.3 * square((tip - 396.0) / 100.0);
    double base = 1.0 + head * square(tip) / (CP * temperature);
    return power_3_5(base < 0.3 ? 0.3 : base);
}

/* Restriction by the ellipse that runs close to the isentropic nozzle curve (from memory, within 1 %). One unknown
 * `s` covers it all: 0 no flow, 1 choked, beyond 1 the pressure behind keeps falling at constant flow. */
static double passage_flow(double s) { return s < 1.0 ? 2.0 * s / (1.0 + s * s) : 1.0; }
static double passage_ratio(double s) {
    if (s >= 1.0) return fmax(CHOKED - (1.0 - CHOKED) * (s - 1.0), 0.02);
    return CHOKED + (1.0 - CHOKED) * (1.0 - s * s) / (1.0 + s * s);
}

/* Manifold pressure the throttle and the geared stage would deliver at the passage unknown `s`, less the present. */
static double surplus(const Engine *e, double s, double full_flow, double inlet, double tip) {
    double behind = e->deck * passage_ratio(s), flow = full_flow * passage_flow(s);
    double coefficient = flow * R * inlet / (behind * BLOWER_EYE * (tip + 20.0));
    return behind * stage_ratio(tip, coefficient, inlet) - e->manifold;
}

/* Two damped Newton steps from the last part's unknown; at rest the residual is nothing. Returns the slope of flow
 * against manifold pressure, for the semi-implicit filling. */
static double throttle_flow(Engine *e, double inlet, double tip) {
    double area = THROTTLE_IDLE + THROTTLE_OPEN * e->throttle * (0.45 + 0.55 * e->throttle);
    double full = area * e->deck * CHOKED_FLOW / sqrt(R * e->cat), s = e->passage, slope = -1.0;
    for (int i = 0; i < 2; i++) {
        double here = surplus(e, s, full, inlet, tip);
        slope = (surplus(e, s + 1e-4, full, inlet, tip) - here) * 1e4;
        s = clip(s - clip(here / fmin(slope, -100.0), -0.3, 0.3), 0.0, 2.0);
    }
    e->passage = s;
    e->flow = full * passage_flow(s);
    double rate = (passage_flow(s + 1e-4) - passage_flow(s)) * 1e4 * full;
    return rate / fmin(slope, -100.0);
}

/* Fuel-air ratio by mixture state; `load` is charge flow over take-off flow. Automatic states enrich at high power. */
static double fuel_air(double mixture, double load) {
    double enrich = clip((load - 0.55) / 0.45, 0.0, 1.2);
    if (mixture < 0.5) return 0.0;
    if (mixture < 1.5) return 0.066 + 0.014 * enrich;
    if (mixture < 2.5) return 0.078 + 0.014 * enrich;
    return 0.090 + 0.014 * enrich;
}

/* Power against mixture: best at 0.076, 0.89 at 0.060 and 0.95 at 0.100; nothing outside 0.05..0.125. */
static double mixture_power(double ratio) {
    if (ratio <= 0.045 || ratio >= 0.135) return 0.0;
    return ratio < 0.076 ? 1.0 - 0.11 * square((0.076 - ratio) / 0.016) : 1.0 - 0.05 * square((ratio - 0.076) / 0.024);
}

/* Air drawn in by the cylinders: clearance relation with the burnt gas left behind (ideal cycle, from memory) and
 * heat picked up from the walls, which is why power falls as about the root of the charge temperature. */
static double charge_flow(const Engine *e, double charge_temperature, Defect defect) {
    double back = defect == DEFECT_BACK_PRESSURE_AMBIENT ? e->air.pressure : e->back;
    double manifold = defect == DEFECT_CHARGE_IGNORES_PRESSURE ? e->deck * (0.25 + 1.5 * e->throttle) : e->manifold;
    double residual = 1.0 - (back / manifold - 1.0) / (1.4 * (COMPRESSION - 1.0));
    double trapped = charge_temperature + 0.35 * (470.0 - charge_temperature);
    return 0.90 * clip(residual, 0.2, 1.2) * manifold * SWEPT * e->crank / (4.0 * PI * R * trapped);
}

/* Collector pressure that drives `flow` through nozzle and gate in parallel: the same ellipse solved for upstream. */
static double back_pressure(double flow, double area, double temperature, double outside) {
    double z = flow * sqrt(R * temperature) / (area * CHOKED_FLOW * outside);
    if (z * CHOKED >= 1.0) return z * outside;
    double wide = square(1.0 - CHOKED), q = 1.0 + square(z) * wide;
    return outside * q / (CHOKED + sqrt(square(CHOKED) - q * (square(CHOKED) - wide)));
}

/* Shaft power of the turbine: isentropic drop through the ratio at k = 4/3 (exponent a quarter) times an efficiency
 * that is a parabola in wheel speed over jet speed. */
static double turbine_power(double flow, double temperature, double ratio, double speed) {
    double drop = CP_EXHAUST * temperature * (1.0 - sqrt(sqrt(ratio))), jet = sqrt(2.0 * drop) + 1.0;
    double u = clip(speed * WHEEL_RADIUS / jet / 0.55, 0.0, 2.0);
    return flow * drop * (0.10 + 0.50 * u * (2.0 - u));
}

/* Propeller torque at the crank: one blade station at 0.7 radius, half the incidence taken as induced. */
static double propeller_torque(const Engine *e) {
    double arm = 0.7 * PROPELLER_RADIUS, turning = arm * PROPELLER_GEAR * e->crank, wind = e->air.velocity;
    double inflow = wind > 0.0 || turning > 0.0 ? atan2(wind, turning) : 0.0;
    double alpha = 0.5 * (e->blade - inflow), angle = inflow + alpha;
    double lift = 5.7 * alpha / sqrt(1.0 + square(5.7 * alpha / 1.5)), drag = 0.012 + 0.012 * lift * lift;
    double stall = fmax(fabs(alpha) - 0.22, 0.0);
    double force = 0.5 * e->air.density * (square(turning) + square(wind)) * BLADES_AREA;
    return force * arm * PROPELLER_GEAR * (lift * sin(angle) + (drag + 2.0 * stall * stall) * cos(angle));
}

/* The starter, at the crank: its torque falls evenly to its free speed; beyond that its clutch runs free. */
static double starter_torque(const Engine *e, double engaged, Defect defect) {
    double most = STARTER * (defect == DEFECT_STARTER_TOO_WEAK ? 0.2 : 1.0);
    return engaged * most * fmax(1.0 - e->crank / STARTER_FREE, 0.0);
}

/* The boost lever closes the waste gate, quickly at first. */
static double gate_opening(const Engine *e) {
    double open = 1.0 - e->gate_lever;
    return open * open * open;
}

/* Turbo, deck and exhaust over one part. */
static void turbo_part(Engine *e, double shutter, double burnt, double dt, Defect defect) {
    double area = NOZZLE + GATE * gate_opening(e);
    double collector = back_pressure(burnt, area, e->exhaust, e->air.pressure);
    e->back += (collector - e->back) * dt / (0.02 + dt);
    double tip = e->turbo * TURBO_RADIUS, total = e->air.pressure * e->air.ram;
    double entry = e->air.temperature + 0.5 * square(e->air.velocity) / CP, rho = total / (R * entry);
    double inlet = total - DUCT_LOSS * 1.2 / rho * square(e->flow);
    double coefficient = e->flow * R * entry / (inlet * TURBO_EYE * (tip + 30.0));
    double delivered = inlet * stage_ratio(tip, coefficient, entry);
    delivered -= COOLER_LOSS * 1.2 / (delivered / (R * e->cat)) * square(e->flow);
    e->deck += (delivered - e->deck) * dt / (0.06 + dt);
    double hot = entry + WORK * square(tip) / CP;
    double effect = (0.06 + 0.49 * shutter) / (1.0 + 0.25 * e->flow);
    e->cat += (hot - effect * (hot - entry) - e->cat) * dt / (2.5 + dt);
    double taken = e->flow * WORK * square(tip) + 1.2e-6 * e->turbo * square(e->turbo) + 0.5 * e->turbo;
    double given = turbine_power(burnt * NOZZLE / area, e->exhaust, e->air.pressure / e->back, e->turbo);
    if (defect == DEFECT_BOOST_WITHOUT_EXHAUST) /* the lever alone runs it up to 18,000 rpm */
        given = taken + TURBO_INERTIA * (e->turbo + 5.0) * (1885.0 * e->gate_lever - e->turbo) / 2.0;
    double inertia = TURBO_INERTIA * (defect == DEFECT_NO_TURBO_INERTIA ? 0.04 : 1.0);
    double stored = 0.5 * inertia * square(e->turbo) + (given - taken) * dt;
    e->turbo = sqrt(fmax(2.0 * stored / inertia, 0.0));
}

/* One inner part of the grid step. */
static void part(Engine *e, const double input[INPUTS], double dt, Defect defect) {
    e->throttle += (clip(input[IN_THROTTLE], 0.0, 1.0) - e->throttle) * dt / (0.08 + dt);
    e->gate_lever += (clip(input[IN_BOOST], 0.0, 1.0) - e->gate_lever) * dt / (0.4 + dt);
    e->propeller += (clip(input[IN_PROPELLER], 0.0, 1.0) - e->propeller) * dt / (0.15 + dt);

    double tip = e->crank * GEAR * BLOWER_RADIUS, firing = clip((e->crank - 14.0) / 8.0, 0.0, 1.0);
    double load = e->flow / 1.25, ratio = fuel_air(input[IN_MIXTURE], load);
    double inlet = e->cat - 240.0 * ratio * firing; /* fuel evaporating behind the carburettor */
    e->charge = inlet + WORK * square(tip) / CP;
    double slope = throttle_flow(e, inlet, tip);
    double drawn = charge_flow(e, e->charge, defect), stiffness = drawn / e->manifold - fmin(slope, 0.0);
    double gas = R * e->charge * dt / MANIFOLD_VOLUME;
    e->manifold = fmax(e->manifold + gas * (e->flow - drawn) / (1.0 + gas * stiffness), 500.0);

    double power = mixture_power(ratio) * firing;
    e->fuel = drawn * e->air.dry * ratio * firing;
    double rise = power > 0.0 ? (650.0 + 250.0 * clip(load, 0.0, 1.0)) / (1.0 + square(14.0 * (ratio - 0.067))) : 20.0;
    double trapped = e->charge + 0.35 * (470.0 - e->charge);
    e->exhaust += (trapped + rise * (power > 0.0 ? firing : 1.0) - e->exhaust) * dt / (0.3 + dt);

    turbo_part(e, clip(input[IN_SHUTTER], 0.0, 1.0), drawn + e->fuel, dt, defect);
    double back = defect == DEFECT_BACK_PRESSURE_AMBIENT ? e->air.pressure : e->back;
    double turning = e->crank > 1.0 ? e->crank : 1.0;
    double indicated = 1.13e6 * drawn * e->air.dry * power / turning;
    double pumping = (e->manifold - back) * SWEPT / (4.0 * PI);
    double friction = (62e3 + 300.0 * e->crank) * SWEPT / (4.0 * PI), blower = drawn * WORK * square(tip) / turning;
    if (e->crank <= 0.0) pumping = blower = 0.0;
    e->torque = indicated + pumping - friction - blower;
    double driven = e->torque + starter_torque(e, input[IN_STARTER], defect); /* not counted as brake torque */
    double balance = driven - propeller_torque(e), speed_rate = balance / INERTIA;
    if (e->crank <= 0.0 && driven < 0.0 && balance < 0.0) speed_rate = 0.0;
    double target = RATED * (0.6 + 0.4 * e->propeller);
    double blade_rate = clip(0.0018 * (e->crank - target) + 0.0026 * speed_rate, -0.16, 0.16);
    e->blade = clip(e->blade + blade_rate * dt, FINE, COARSE);
    e->crank = fmax(e->crank + speed_rate * dt, 0.0);
    if (e->crank <= 0.0) e->torque = 0.0;
}

/* A still engine fills with outside air and cools to it. */
static void stand_still(Engine *e) {
    double total = e->air.pressure * e->air.ram;
    e->crank = e->turbo = e->torque = e->fuel = e->flow = e->passage = 0.0;
    e->manifold = e->deck = total;
    e->back = e->air.pressure;
    e->cat = e->charge = e->exhaust = e->air.temperature + 0.5 * square(e->air.velocity) / CP;
}

static void watch(Engine *e) {
    if (e->turbo > LIGHT_ON) e->light = 2;
    if (e->turbo < LIGHT_OFF) e->light = 0;
}

void engine_step(Engine *e, const double input[INPUTS], int ticks, Defect defect) {
    int parts = (ticks + PART_TICKS - 1) / PART_TICKS;
    double dt = ticks / 36000.0 / parts;
    if (input[IN_ALTITUDE] != e->air.altitude || input[IN_OFFSET] != e->air.offset ||
        input[IN_HUMIDITY] != e->air.humidity || input[IN_AIRSPEED] != e->air.airspeed)
        breathe(&e->air, input);
    if (input[IN_STARTER] > 0.5) e->still = 0;
    if (e->still) {
        stand_still(e);
        e->throttle = clip(input[IN_THROTTLE], 0.0, 1.0);
        e->gate_lever = clip(input[IN_BOOST], 0.0, 1.0);
        return;
    }
    for (int i = 0; i < parts; i++) part(e, input, dt, defect);
    watch(e);
}

void engine_start(Engine *e, int running, const double input[INPUTS], Defect defect) {
    memset(e, 0, sizeof *e);
    breathe(&e->air, input);
    e->throttle = clip(input[IN_THROTTLE], 0.0, 1.0);
    e->gate_lever = clip(input[IN_BOOST], 0.0, 1.0);
    e->propeller = clip(input[IN_PROPELLER], 0.0, 1.0);
    e->blade = FINE;
    stand_still(e);
    if (!running) {
        e->still = 1;
        return;
    }
    double warm[INPUTS];
    memcpy(warm, input, sizeof warm);
    if (warm[IN_MIXTURE] < 0.5) warm[IN_MIXTURE] = 2.0; /* it has been running until now */
    e->crank = 0.5 * RATED;
    e->turbo = 300.0;
    e->exhaust = 1000.0;
    e->passage = 0.5;
    for (int i = 0; i < SETTLE_PARTS; i++) part(e, warm, 0.00625, defect);
    watch(e);
}

void engine_read(const Engine *e, double output[OUTPUTS]) {
    output[OUT_MANIFOLD] = e->manifold / INHG;
    output[OUT_RPM] = e->crank * RPM;
    output[OUT_TURBO] = e->turbo * RPM;
    output[OUT_POWER] = e->torque * e->crank / 745.69987;
    output[OUT_TORQUE] = e->torque / 1.3558179;
    output[OUT_FUEL] = e->fuel * 3600.0 / 0.45359237;
    output[OUT_CAT] = e->cat - 273.15;
    output[OUT_DECK] = e->deck / INHG;
    output[OUT_BACK] = e->back / INHG;
    output[OUT_MANIFOLD_T] = e->charge - 273.15;
    output[OUT_EGT] = e->exhaust - 273.15;
    output[OUT_GATE] = gate_opening(e);
    output[OUT_LIGHT] = e->light;
    output[OUT_THROTTLE] = e->throttle;
    output[OUT_BOOST] = e->gate_lever;
    output[OUT_AMBIENT_P] = e->air.pressure / INHG;
    output[OUT_AMBIENT_T] = e->air.temperature - 273.15;
    output[OUT_BLADE] = e->blade * 180.0 / PI;
    /* Rounded to a millionth of the unit: few digits on the wire, and the same numbers in memory. */
    for (int i = 0; i < OUTPUTS; i++)
        if (fabs(output[i]) < 1e9) output[i] = (double)llround(output[i] * 1e6) / 1e6;
}

const char *defect_name(Defect defect) {
    static const char *const names[] = {"back-pressure-ambient", "charge-ignores-pressure", "no-turbo-inertia",
                                        "boost-without-exhaust", "starter-too-weak"};
    return defect >= 1 && defect <= 5 ? names[defect - 1] : NULL;
}
