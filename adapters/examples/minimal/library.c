/* Rill-1, a light engine with one lag, as a shared library behind leverproof.h. */
#include "leverproof.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LANES = 64, INPUTS = 2, OUTPUTS = 2 };
static const leverproof_signal inputs[] = {{"throttle", "1", NULL}, {"pressure_altitude", "ft", NULL}};
static const leverproof_signal outputs[] = {{"manifold_pressure", "inHg", NULL}, {"engine_speed", "rpm", NULL}};
static const leverproof_description said = {"Rill-1", "1", "invented", LANES, 1, INPUTS, OUTPUTS, inputs, outputs};

typedef struct { double in[INPUTS], speed; int running; } Engine;
struct leverproof_model {
    Engine engine[LANES];
    int32_t lanes, ins, outs, in[INPUTS], out[OUTPUTS];
    double seconds;
    const char *why;
};

static int32_t refuse(leverproof_model *model, const char *why) {
    model->why = why;
    return LEVERPROOF_BAD_REQUEST;
}

static double aim(const Engine *e) { return 700.0 + 1700.0 * e->in[0]; } /* the rpm that the throttle asks for */

static void take(const leverproof_model *model, Engine *e, const double *row) {
    for (int32_t i = 0; i < model->ins; i++) e->in[model->in[i]] = row[i];
}

/* The air of the standard atmosphere, less the suction past the throttle. NaN runs through: no fmin, which drops it. */
static void read_out(const leverproof_model *model, const Engine *e, double *reply) {
    double outside = 29.92126 * pow(1.0 - 6.8755856e-6 * e->in[1], 5.255876), share = e->speed / aim(e);
    if (share > 1.1) share = 1.1;
    double drop = (0.06 + 0.6 * (1.0 - e->in[0]) * (1.0 - e->in[0])) * share * share;
    double value[OUTPUTS] = {outside * (1.0 - drop), e->speed};
    for (int32_t i = 0; i < model->outs; i++) reply[i] = value[model->out[i]];
}

LEVERPROOF_EXPORT int32_t leverproof_interface(void) { return LEVERPROOF_INTERFACE; }
LEVERPROOF_EXPORT const leverproof_description *leverproof_describe(void) { return &said; }
LEVERPROOF_EXPORT leverproof_model *leverproof_create(const char *defect) {
    return defect ? NULL : calloc(1, sizeof(leverproof_model));
}
LEVERPROOF_EXPORT void leverproof_destroy(leverproof_model *model) { free(model); }
LEVERPROOF_EXPORT const char *leverproof_last_error(leverproof_model *model) { return model->why; }

LEVERPROOF_EXPORT int32_t leverproof_initialise(leverproof_model *model, int32_t step_ticks, int32_t lanes,
                                                const int32_t *running, int32_t input_count, const int32_t *in,
                                                int32_t output_count, const int32_t *out, const double *row,
                                                double *reply) {
    if (step_ticks < 1 || 18000 % step_ticks) return refuse(model, "step_ticks must divide 18000");
    if (lanes < 1 || lanes > LANES) return refuse(model, "there are 1 to 64 lanes");
    if (input_count < 1 || input_count > INPUTS || output_count < 1 || output_count > OUTPUTS)
        return refuse(model, "too many columns, or none");
    for (int32_t i = 0; i < input_count; i++)
        if (in[i] < 0 || in[i] >= INPUTS) return refuse(model, "no such input");
    for (int32_t i = 0; i < output_count; i++)
        if (out[i] < 0 || out[i] >= OUTPUTS) return refuse(model, "no such output");
    memset(model, 0, sizeof *model); /* everything is set anew, so that nothing of an earlier run is left */
    model->lanes = lanes, model->ins = input_count, model->outs = output_count, model->seconds = step_ticks / 36000.0;
    memcpy(model->in, in, sizeof *in * (size_t)input_count);
    memcpy(model->out, out, sizeof *out * (size_t)output_count);
    for (int32_t k = 0; k < lanes; k++) {
        Engine *e = &model->engine[k];
        take(model, e, row + k * input_count);
        e->running = running[k] != 0;
        e->speed = e->running ? aim(e) : 0.0;
        read_out(model, e, reply + k * output_count);
    }
    return LEVERPROOF_OK;
}

LEVERPROOF_EXPORT int32_t leverproof_advance(leverproof_model *model, int32_t lanes, const int32_t *lane,
                                             int32_t row_count, const double *rows, double *reply) {
    for (int32_t k = 0; k < lanes; k++)
        if (lane[k] < 0 || lane[k] >= model->lanes) return refuse(model, "no such lane");
    for (int32_t i = 0; i < row_count; i++)
        for (int32_t k = 0; k < lanes; k++, rows += model->ins, reply += model->outs) {
            Engine *e = &model->engine[lane[k]];
            take(model, e, rows);
            /* a lag of 1.5 s, solved exactly for inputs held over the step */
            if (e->running) e->speed = aim(e) + (e->speed - aim(e)) * exp(-model->seconds / 1.5);
            read_out(model, e, reply);
        }
    return LEVERPROOF_OK;
}
