/* A one-lag engine behind leverproof.h whose vice is named like a seeded defect, or built in by a macro for what must
 * show before a model exists. It shows after a few rows; one whose name ends in -when-opened, while a throttle is
 * opened beyond half. For the tests of the C library stand. */
#include "leverproof.h"

#include <fenv.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { LANES = 8, ROWS_BEFORE_TROUBLE = 5 };

struct leverproof_model {
    char vice[32];
    int lanes, inputs, outputs, rows, throttle, when_opened;
    int output[3];
    double step, pressure[LANES];
};

static void sleep_for_ever(void) {
    for (;;) sleep(60);
}

static void crash(void) {
    volatile int *nowhere = NULL;
    *nowhere = 1;
}

#if defined(CRASH_AT_LOAD)
__attribute__((constructor)) static void at_load(void) { crash(); }
#elif defined(HANG_AT_LOAD)
__attribute__((constructor)) static void at_load(void) { sleep_for_ever(); }
#elif defined(EXIT_AT_LOAD)
__attribute__((constructor)) static void at_load(void) { _exit(9); }
#endif

#if defined(OTHER_VERSION)
int32_t leverproof_interface(void) { return 99; }
#else
int32_t leverproof_interface(void) { return LEVERPROOF_INTERFACE; }
#endif

const leverproof_description *leverproof_describe(void) {
    static const leverproof_signal in[] = {{"throttle", "1", NULL},
                                           {"mix", "1", "full_rich,auto_rich,auto_lean,cut_off"}};
    static const leverproof_signal out[] = {{"map", "kPa", NULL}, {"engine_speed", "rad/s", NULL}, {"tiny", "1", NULL}};
    static const leverproof_description said = {"faulty library", "1", NULL, LANES, 1, 2, 3, in, out};
#if defined(NULL_DESCRIPTION)
    return said.lanes ? NULL : &said;
#elif defined(NAMELESS)
    static leverproof_description nameless;
    nameless = said;
    nameless.version = NULL;
    return &nameless;
#elif defined(COUNTLESS)
    static leverproof_description countless;
    countless = said;
    countless.input_count = -3;
    return &countless;
#else
    return &said;
#endif
}

#if !defined(NO_CREATE)
leverproof_model *leverproof_create(const char *vice) {
    leverproof_model *model = calloc(1, sizeof *model);
    if (vice) {
        if (strcmp(vice, "no-such-vice") == 0) return NULL;
        strncpy(model->vice, vice, sizeof model->vice - 1);
        char *when = strstr(model->vice, "-when-opened");
        model->when_opened = when != NULL;
        if (when) *when = 0;
    }
    if (strcmp(model->vice, "crash-at-start") == 0) crash();
    if (strcmp(model->vice, "hang-at-start") == 0) sleep_for_ever();
    if (strcmp(model->vice, "exit-at-start") == 0) exit(0);
    return model;
}
#endif

static int is(const leverproof_model *model, const char *vice) { return strcmp(model->vice, vice) == 0; }

static void reading(const leverproof_model *model, int lane, double *reply) {
    int late = model->rows >= ROWS_BEFORE_TROUBLE;
    volatile double one = 1.0, three = 3.0;
    double values[3] = {model->pressure[lane], 2.1 * model->pressure[lane], one / three};
    if (late && is(model, "nan")) values[0] = NAN;
    if (late && is(model, "nan")) values[1] = -INFINITY;
    for (int i = 0; i < model->outputs; i++) reply[i] = values[model->output[i]];
}

int32_t leverproof_initialise(leverproof_model *model, int32_t step_ticks, int32_t lanes, const int32_t *running,
                              int32_t input_count, const int32_t *inputs, int32_t output_count,
                              const int32_t *outputs, const double *row, double *reply) {
    (void)running;
    if (lanes < 1 || lanes > LANES || input_count > 2 || output_count > 3) return LEVERPROOF_BAD_REQUEST;
    model->lanes = lanes;
    model->inputs = input_count;
    model->outputs = output_count;
    model->step = step_ticks / 36000.0;
    model->rows = 0;
    for (int i = 0; i < input_count; i++)
        if (inputs[i] == 0) model->throttle = i;
    for (int i = 0; i < output_count; i++) model->output[i] = outputs[i];
    for (int lane = 0; lane < lanes; lane++) {
        model->pressure[lane] = 30.0 + 70.0 * row[lane * input_count + model->throttle];
        reading(model, lane, reply + lane * output_count);
    }
    return LEVERPROOF_OK;
}

static int32_t trouble(leverproof_model *model) {
    if (is(model, "crash")) crash();
    if (is(model, "abort")) abort();
    if (is(model, "hang")) sleep_for_ever();
    if (is(model, "exit")) exit(0);
    if (is(model, "overwrites")) memset(model, 0x55, 1 << 26);
    if (is(model, "bad-request")) return LEVERPROOF_BAD_REQUEST;
    if (is(model, "unknown-code")) return -17;
    if (is(model, "rounds-up")) fesetround(FE_UPWARD);
    if (is(model, "prints")) printf("rpm looks fine\n{\"id\":4,\"result\":{}}\n"), fflush(stdout);
    if (is(model, "floods"))
        for (int i = 0; i < 40000; i++) puts("noise noise");
    if (is(model, "reads-input") && getchar() != EOF) return LEVERPROOF_MODEL_ERROR;
    if (is(model, "closes-streams")) fclose(stdout);
    return LEVERPROOF_OK;
}

int32_t leverproof_advance(leverproof_model *model, int32_t lanes, const int32_t *lane, int32_t row_count,
                           const double *rows, double *reply) {
    for (int i = 0; i < row_count; i++) {
        int opened = 0;
        for (int k = 0; k < lanes; k++) opened |= rows[(i * lanes + k) * model->inputs + model->throttle] > 0.5;
        if (++model->rows == ROWS_BEFORE_TROUBLE ? !model->when_opened : model->when_opened && opened) {
            int32_t code = trouble(model);
            if (code) return code;
        }
        for (int k = 0; k < lanes; k++) {
            const double *row = rows + (i * lanes + k) * model->inputs;
            double aim = 30.0 + 70.0 * row[model->throttle];
            model->pressure[lane[k]] += (aim - model->pressure[lane[k]]) * (1.0 - exp(-model->step / 1.7));
            reading(model, lane[k], reply + (i * lanes + k) * model->outputs);
        }
    }
    return LEVERPROOF_OK;
}

void leverproof_destroy(leverproof_model *model) {
    if (model && is(model, "crash-at-end")) crash();
    free(model);
}

#if defined(WITH_WORDS)
const char *leverproof_last_error(leverproof_model *model) {
    (void)model;
    return "the oil is cold";
}
#endif
