/* Rill-1, a light engine with one lag, as an FMI 2.0 co-simulation unit. Declarations after FMI 2.0.4, chapters 2 and 4;
   an author's own unit includes the headers of the standard instead. */
#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

typedef unsigned int Reference;
typedef enum { OK, WARNING, DISCARD, ERROR, FATAL, PENDING } Status;
enum { THROTTLE, HEIGHT, MANIFOLD_PRESSURE, ENGINE_SPEED, TURNING, COUNT };
typedef struct { double value[COUNT]; } Engine;
#define FMI2 __attribute__((visibility("default")))

static double aim(const Engine *e) { return 700.0 + 1700.0 * e->value[THROTTLE]; } /* the rpm the throttle asks for */

/* The air of the standard atmosphere, less the suction past the throttle. */
static void settle(Engine *e) {
    double outside = 29.92126 * pow(1.0 - 6.8755856e-6 * e->value[HEIGHT], 5.255876), closed = 1.0 - e->value[THROTTLE];
    double share = e->value[ENGINE_SPEED] / aim(e);
    if (share > 1.1) share = 1.1;
    e->value[MANIFOLD_PRESSURE] = outside * (1.0 - (0.06 + 0.6 * closed * closed) * share * share);
}

static void fresh(Engine *e) {
    memset(e, 0, sizeof *e);
    e->value[TURNING] = 1.0;
}

FMI2 const char *fmi2GetTypesPlatform(void) { return "default"; }
FMI2 const char *fmi2GetVersion(void) { return "2.0"; }

FMI2 void *fmi2Instantiate(const char *name, int type, const char *token, const char *resources, const void *callbacks,
                           int visible, int logging) {
    (void)name, (void)type, (void)resources, (void)callbacks, (void)visible, (void)logging;
    if (strcmp(token, "rill-1-as-a-unit") != 0) return NULL;
    Engine *e = malloc(sizeof *e);
    if (e != NULL) fresh(e);
    return e;
}
FMI2 void fmi2FreeInstance(void *e) { free(e); }
FMI2 Status fmi2SetupExperiment(void *e, int given, double tolerance, double start, int stops, double stop) {
    (void)e, (void)given, (void)tolerance, (void)start, (void)stops, (void)stop;
    return OK;
}
FMI2 Status fmi2EnterInitializationMode(void *e) { (void)e; return OK; }
FMI2 Status fmi2ExitInitializationMode(void *instance) {
    Engine *e = instance;
    e->value[ENGINE_SPEED] = e->value[TURNING] != 0.0 ? aim(e) : 0.0; /* warm and settled, or cold and still */
    settle(e);
    return OK;
}
FMI2 Status fmi2Terminate(void *e) { (void)e; return OK; }
FMI2 Status fmi2Reset(void *e) { fresh(e); return OK; }

FMI2 Status fmi2GetReal(void *instance, const Reference *which, size_t count, double *values) {
    const Engine *e = instance;
    for (size_t i = 0; i < count; i++) {
        if (which[i] >= COUNT) return ERROR;
        values[i] = e->value[which[i]];
    }
    return OK;
}
FMI2 Status fmi2SetReal(void *instance, const Reference *which, size_t count, const double *values) {
    Engine *e = instance;
    for (size_t i = 0; i < count; i++) {
        if (which[i] >= COUNT) return ERROR;
        e->value[which[i]] = values[i];
    }
    return OK;
}

/* A lag of 1.5 s, solved exactly for inputs held over the step. */
FMI2 Status fmi2DoStep(void *instance, double now, double step, int final) {
    Engine *e = instance;
    (void)now, (void)final;
    if (e->value[TURNING] != 0.0)
        e->value[ENGINE_SPEED] = aim(e) + (e->value[ENGINE_SPEED] - aim(e)) * exp(-step / 1.5);
    settle(e);
    return OK;
}
FMI2 Status fmi2GetRealStatus(void *e, int kind, double *value) { (void)e, (void)kind, (void)value; return DISCARD; }
FMI2 Status fmi2GetBooleanStatus(void *e, int kind, int *value) { (void)e, (void)kind, (void)value; return DISCARD; }
