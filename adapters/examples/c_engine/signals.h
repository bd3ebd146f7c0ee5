/* What Corrie-16 takes and gives, in the order of the numbers in corrie.h: for the program and for the library. */
#ifndef CORRIE_SIGNALS_H
#define CORRIE_SIGNALS_H

#include "corrie.h"

enum { LANES = 256, STEP_DIVIDES = 18000 };

/* `states` are separated by commas; `absent` is the value of an input a session does not send. */
typedef struct { const char *name, *unit, *states; double absent; } Signal;

static const Signal inputs[INPUTS] = {
    {"throttle", "1", NULL, 0.0}, {"boost", "1", NULL, 0.0}, {"propeller", "1", NULL, 1.0},
    {"mixture", "1", "cut_off,auto_lean,auto_rich,full_rich", 2.0}, {"intercooler_shutter", "1", NULL, 1.0},
    {"starter", "1", "off,engaged", 0.0},
    {"pressure_altitude", "ft", NULL, 0.0}, {"temperature_offset", "K", NULL, 0.0},
    {"relative_humidity", "1", NULL, 0.0}, {"true_airspeed", "kt", NULL, 0.0}};
static const double least[INPUTS] = {-0.01, -0.01, -0.01, 0.0, -0.01, 0.0, -2000.0, -80.0, 0.0, 0.0};
static const double most[INPUTS] = {1.01, 1.01, 1.01, 3.0, 1.01, 1.0, 50000.0, 80.0, 1.0, 600.0};
static const Signal outputs[OUTPUTS] = {
    {"manifold_pressure", "inHg", NULL, 0.0}, {"engine_speed", "rpm", NULL, 0.0}, {"turbo_speed", "rpm", NULL, 0.0},
    {"brake_power", "hp", NULL, 0.0}, {"torque", "lbf.ft", NULL, 0.0}, {"fuel_flow", "lb/h", NULL, 0.0},
    {"carburettor_air_temperature", "degC", NULL, 0.0}, {"carburettor_deck_pressure", "inHg", NULL, 0.0},
    {"exhaust_back_pressure", "inHg", NULL, 0.0}, {"manifold_temperature", "degC", NULL, 0.0},
    {"exhaust_gas_temperature", "degC", NULL, 0.0}, {"wastegate_opening", "1", NULL, 0.0},
    {"turbo_overspeed_light", "1", "off,blinking,on", 0.0}, {"throttle_position", "1", NULL, 0.0},
    {"boost_position", "1", NULL, 0.0}, {"ambient_pressure", "inHg", NULL, 0.0},
    {"ambient_temperature", "degC", NULL, 0.0}, {"blade_angle", "deg", NULL, 0.0}};

/* Why a number cannot be that input, or NULL. NaN is out of every range. */
static inline const char *wrong_input(int k, double value) {
    if (!(value >= least[k] && value <= most[k])) return "an input is out of range";
    if (inputs[k].states && value != (int)value) return "a discrete input is not a whole number";
    return NULL;
}

#endif
