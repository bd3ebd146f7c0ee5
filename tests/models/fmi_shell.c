/* FMI 2.0 or 3.0 co-simulation (-DFMI=2 or 3) around the model of fmi_model.h, for the tests. Every function of the
 * standard is there; those for what the description does not offer are in fmi_shell_rest.c. With FMI_LIFE in the
 * environment, births and deaths of instances are written to the file it names. */
#include "fmi_model.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if FMI == 2
#include "fmi2Functions.h"
#define NAME(name) fmi2##name
#define HANDLE fmi2Component
#define REFERENCES const fmi2ValueReference
typedef fmi2Status Status;
#else
#include "fmi3Functions.h"
#define NAME(name) fmi3##name
#define HANDLE fmi3Instance
#define REFERENCES const fmi3ValueReference
typedef fmi3Status Status;
#endif

typedef struct {
    Values values;
    void *state, *environment;
    char name[64];
#if FMI == 2
    const fmi2CallbackFunctions *back;
#else
    fmi3LogMessageCallback log;
#endif
} Unit;

static void life(const char *word, const char *name) {
    const char *path = getenv("FMI_LIFE");
    FILE *file = path ? fopen(path, "a") : NULL;
    if (file == NULL) return;
    fprintf(file, "%s %s\n", word, name);
    fclose(file);
}

static Status tell(Unit *unit, int status) {
    if (status && unit->values.said)
#if FMI == 2
        unit->back->logger(unit->environment, unit->name, (fmi2Status)status, "model", "%s", unit->values.said);
#else
        unit->log(unit->environment, (fmi3Status)status, "model", unit->values.said);
#endif
    return (Status)status;
}

static double *place(Unit *unit, unsigned reference) {
    double *rooms[] = {unit->values.in, unit->values.out, unit->values.par};
    return reference < 300 && reference % 100 < PLACES ? &rooms[reference / 100][reference % 100] : NULL;
}

#if FMI == 2
#define COUNT
#define COUNTS_DIFFER 0
#else
#define COUNT , size_t number
#define COUNTS_DIFFER (number != count)
#endif

#define VALUES(Suffix, Type)                                                                                          \
    Status NAME(Set##Suffix)(HANDLE handle, REFERENCES refs[], size_t count, const Type values[] COUNT) {             \
        if (COUNTS_DIFFER) return (Status)FAILED;                                                                     \
        for (size_t i = 0; i < count; i++) {                                                                          \
            double *at = place(handle, refs[i]);                                                                      \
            if (at == NULL) return (Status)FAILED;                                                                    \
            *at = (double)values[i];                                                                                  \
        }                                                                                                             \
        return (Status)DONE;                                                                                          \
    }                                                                                                                 \
    Status NAME(Get##Suffix)(HANDLE handle, REFERENCES refs[], size_t count, Type values[] COUNT) {                   \
        if (COUNTS_DIFFER) return (Status)FAILED;                                                                     \
        for (size_t i = 0; i < count; i++) {                                                                          \
            double *at = place(handle, refs[i]);                                                                      \
            if (at == NULL) return (Status)FAILED;                                                                    \
            values[i] = (Type)*at;                                                                                    \
        }                                                                                                             \
        return (Status)DONE;                                                                                          \
    }

#if FMI == 2
VALUES(Real, double)
VALUES(Integer, int)
VALUES(Boolean, fmi2Boolean)
#else
VALUES(Float64, double)
VALUES(Float32, float)
VALUES(Int8, int8_t)
VALUES(UInt8, uint8_t)
VALUES(Int16, int16_t)
VALUES(UInt16, uint16_t)
VALUES(Int32, int32_t)
VALUES(UInt32, uint32_t)
VALUES(Int64, int64_t)
VALUES(UInt64, uint64_t)
VALUES(Boolean, bool)
#endif

static Unit *made(const char *name, const char *token) {
    Unit *unit = strcmp(token, model_token) ? NULL : calloc(1, sizeof *unit);
    if (unit == NULL) return NULL;
    snprintf(unit->name, sizeof unit->name, "%s", name);
    unit->state = model_new(&unit->values);
    if (unit->state == NULL) {
        free(unit);
        return NULL;
    }
    life("born", name);
    return unit;
}

void NAME(FreeInstance)(HANDLE handle) {
    Unit *unit = handle;
    if (unit == NULL) return;
    life("freed", unit->name);
    model_free(unit->state);
    free(unit);
}

Status NAME(ExitInitializationMode)(HANDLE handle) {
    Unit *unit = handle;
    return tell(unit, model_start(unit->state, &unit->values));
}

Status NAME(Terminate)(HANDLE handle) {
    life("terminated", ((Unit *)handle)->name);
    return (Status)DONE;
}

Status NAME(Reset)(HANDLE handle) {
    Unit *unit = handle;
    life("reset", unit->name);
    model_free(unit->state);
    memset(&unit->values, 0, sizeof unit->values);
    unit->state = model_new(&unit->values);
    return (Status)(unit->state ? DONE : FAILED);
}

#if FMI == 2
fmi2Component fmi2Instantiate(fmi2String name, fmi2Type type, fmi2String token, fmi2String resources,
                              const fmi2CallbackFunctions *back, fmi2Boolean visible, fmi2Boolean logging) {
    (void)resources, (void)visible, (void)logging;
    Unit *unit = type == fmi2CoSimulation ? made(name, token) : NULL;
    if (unit == NULL) {
        back->logger(back->componentEnvironment, name, fmi2Error, "model", "the token or the model is wrong");
        return NULL;
    }
    unit->back = back;
    unit->environment = back->componentEnvironment;
    return unit;
}
fmi2Status fmi2SetupExperiment(fmi2Component c, fmi2Boolean tolerant, fmi2Real tolerance, fmi2Real start,
                               fmi2Boolean ends, fmi2Real stop) {
    (void)c, (void)tolerant, (void)tolerance, (void)ends, (void)stop;
    return start == 0.0 ? fmi2OK : fmi2Error;
}
fmi2Status fmi2EnterInitializationMode(fmi2Component c) { return c ? fmi2OK : fmi2Error; }
fmi2Status fmi2SetString(fmi2Component c, REFERENCES refs[], size_t count, const fmi2String texts[]) {
    for (size_t i = 0; i < count; i++) {
        if (refs[i] != 300) return fmi2Error;
        snprintf(((Unit *)c)->values.text, sizeof((Unit *)c)->values.text, "%s", texts[i]);
    }
    return fmi2OK;
}
fmi2Status fmi2DoStep(fmi2Component c, fmi2Real time, fmi2Real step, fmi2Boolean kept) {
    Unit *unit = c;
    (void)kept;
    return tell(unit, model_step(unit->state, &unit->values, time, step));
}
fmi2Status fmi2GetRealStatus(fmi2Component c, const fmi2StatusKind kind, fmi2Real *value) {
    (void)c;
    *value = 0.21;
    return kind == fmi2LastSuccessfulTime ? fmi2OK : fmi2Discard;
}
fmi2Status fmi2GetBooleanStatus(fmi2Component c, const fmi2StatusKind kind, fmi2Boolean *value) {
    *value = ((Unit *)c)->values.over;
    return kind == fmi2Terminated ? fmi2OK : fmi2Discard;
}
const char *fmi2GetTypesPlatform(void) { return fmi2TypesPlatform; }
const char *fmi2GetVersion(void) { return "2.0"; }
#else
fmi3Instance fmi3InstantiateCoSimulation(
    fmi3String name, fmi3String token, fmi3String resources, fmi3Boolean visible, fmi3Boolean logging,
    fmi3Boolean events, fmi3Boolean early, REFERENCES refs[], size_t count, fmi3InstanceEnvironment environment,
    fmi3LogMessageCallback log, fmi3IntermediateUpdateCallback update) {
    (void)resources, (void)visible, (void)logging, (void)early, (void)refs, (void)count, (void)update;
    Unit *unit = events ? NULL : made(name, token);
    if (unit == NULL) {
        log(environment, fmi3Error, "model", "the token or the model is wrong");
        return NULL;
    }
    unit->log = log;
    unit->environment = environment;
    return unit;
}
fmi3Status fmi3EnterInitializationMode(fmi3Instance c, fmi3Boolean tolerant, fmi3Float64 tolerance, fmi3Float64 start,
                                       fmi3Boolean ends, fmi3Float64 stop) {
    (void)c, (void)tolerant, (void)tolerance, (void)ends, (void)stop;
    return start == 0.0 ? fmi3OK : fmi3Error;
}
fmi3Status fmi3SetString(fmi3Instance c, REFERENCES refs[], size_t count, const fmi3String texts[], size_t number) {
    for (size_t i = 0; i < count && i < number; i++) {
        if (refs[i] != 300) return fmi3Error;
        snprintf(((Unit *)c)->values.text, sizeof((Unit *)c)->values.text, "%s", texts[i]);
    }
    return fmi3OK;
}
fmi3Status fmi3DoStep(fmi3Instance c, fmi3Float64 time, fmi3Float64 step, fmi3Boolean kept, fmi3Boolean *event,
                      fmi3Boolean *terminate, fmi3Boolean *early, fmi3Float64 *last) {
    Unit *unit = c;
    (void)kept;
    int status = model_step(unit->state, &unit->values, time, step);
    *event = *early = false;
    *terminate = unit->values.over;
    *last = time + step;
    return tell(unit, status);
}
const char *fmi3GetVersion(void) { return "3.0"; }
#endif
