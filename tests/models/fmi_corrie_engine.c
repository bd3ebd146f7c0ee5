/* The Corrie-16 of adapters/examples/c_engine as a unit: the same equations behind another interface. Enumerations of
 * a description begin at 1, the engine's states at 0. Parameters: whether it begins running, and the seeded defect. */
#include "corrie.h"
#include "fmi_model.h"

#include <math.h>
#include <stdlib.h>

enum { RUNNING, SEEDED };

const char *const model_token = "{6a3c1f58-8a17-4a50-8f0e-27c9b1d44e16}";

#ifndef BUILT_IN
#define BUILT_IN 0
#endif

static void read_engine(const Engine *engine, Values *values) {
    engine_read(engine, values->out);
    values->out[OUT_LIGHT] += 1.0;
}

static void given(const Values *values, double input[INPUTS]) {
    for (int i = 0; i < INPUTS; i++) input[i] = values->in[i];
    input[IN_MIXTURE] -= 1.0;
}

void *model_new(Values *values) {
    values->in[IN_PROPELLER] = values->in[IN_SHUTTER] = 1.0;
    values->in[IN_MIXTURE] = 3.0;
    values->par[RUNNING] = 1.0;
    values->par[SEEDED] = BUILT_IN;
    return calloc(1, sizeof(Engine));
}

void model_free(void *state) { free(state); }

int model_start(void *state, Values *values) {
    double input[INPUTS];
    given(values, input);
    engine_start(state, values->par[RUNNING] != 0.0, input, (Defect)values->par[SEEDED]);
    read_engine(state, values);
    return DONE;
}

int model_step(void *state, Values *values, double time, double step) {
    double input[INPUTS];
    (void)time;
    given(values, input);
    engine_step(state, input, (int)lround(step * 36000.0), (Defect)values->par[SEEDED]);
    read_engine(state, values);
    return DONE;
}
