/* Corrie-16: an invented two-stage engine that speaks the harness's wire protocol. Shared declarations. */
#ifndef CORRIE_H
#define CORRIE_H

#include <stddef.h>

/* ---- json.c: a small JSON reader (one tree a message, in an arena) and writer (one growing buffer) ---- */
typedef enum { J_NULL, J_BOOL, J_NUMBER, J_STRING, J_ARRAY, J_OBJECT } JsonKind;
typedef struct Json {
    JsonKind kind;
    double number;     /* J_NUMBER, and J_BOOL as 0 or 1 */
    const char *text;  /* J_STRING: decoded bytes, zero-terminated */
    const char *key;   /* member name when the parent is an object */
    struct Json *child, *next;
    int count;         /* members of an array or object */
} Json;

/* Tree of one message, or NULL with *why set. The tree lives until the next call. `text` is changed in place. */
Json *json_parse(char *text, const char **why);
const Json *json_member(const Json *object, const char *key);

typedef struct { char *bytes; size_t length, room; } Buffer;
void put_text(Buffer *out, const char *text);
void put_string(Buffer *out, const char *text);     /* with quotes and escapes */
void put_reading(Buffer *out, double value);        /* rounded to a millionth of its unit */
void put_value(Buffer *out, const Json *value);     /* echo of an id */

/* ---- engine.c: the engine ---- */
enum { IN_THROTTLE, IN_BOOST, IN_PROPELLER, IN_MIXTURE, IN_SHUTTER, IN_STARTER, IN_ALTITUDE, IN_OFFSET, IN_HUMIDITY,
       IN_AIRSPEED, INPUTS };
enum { OUT_MANIFOLD, OUT_RPM, OUT_TURBO, OUT_POWER, OUT_TORQUE, OUT_FUEL, OUT_CAT, OUT_DECK, OUT_BACK,
       OUT_MANIFOLD_T, OUT_EGT, OUT_GATE, OUT_LIGHT, OUT_THROTTLE, OUT_BOOST, OUT_AMBIENT_P, OUT_AMBIENT_T,
       OUT_BLADE, OUTPUTS };

typedef enum { DEFECT_NONE, DEFECT_BACK_PRESSURE_AMBIENT, DEFECT_CHARGE_IGNORES_PRESSURE,
               DEFECT_NO_TURBO_INERTIA, DEFECT_BOOST_WITHOUT_EXHAUST, DEFECT_STARTER_TOO_WEAK } Defect;

/* What the air is, worked out once for each change of the surroundings (SI). */
typedef struct {
    double altitude, offset, humidity, airspeed; /* as given: ft, K, 0..1, kt */
    double pressure, temperature, density, dry;  /* Pa, K, kg/m3, mole fraction of dry air */
    double ram, velocity;                        /* stagnation over static pressure as recovered; m/s */
} Air;

/* One engine. Pressures Pa, temperatures K, speeds rad/s, angles rad. */
typedef struct {
    int still;                        /* began stopped, and no starter has been engaged since */
    double throttle, gate_lever, propeller; /* positions behind their actuators */
    double crank, turbo;              /* speeds */
    double manifold, deck, back;      /* pressures */
    double cat, exhaust;              /* carburettor air and exhaust gas temperatures */
    double blade;                     /* blade angle */
    double passage;                   /* warm-started unknown of the throttle flow */
    double flow;                      /* air through the throttle, kg/s */
    double torque, fuel, charge;      /* brake torque N.m, fuel kg/s, manifold temperature K */
    int light;                        /* 0 off, 2 on */
    Air air;
} Engine;

void engine_start(Engine *engine, int running, const double input[INPUTS], Defect defect);
/* One grid step of `ticks` (1/36000 s) with constant inputs: equal inner parts of at most 6.25 ms. */
void engine_step(Engine *engine, const double input[INPUTS], int ticks, Defect defect);
void engine_read(const Engine *engine, double output[OUTPUTS]);
const char *defect_name(Defect defect); /* NULL behind the last one */

#endif
