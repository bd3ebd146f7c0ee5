/* Corrie-16 as a shared library behind leverproof.h: the same engine as the program, without a wire.
 *
 *     cc -std=c99 -O2 -shared -fPIC -I../../include -o libcorrie.so library.c engine.c -lm
 */
#include "signals.h"
#include "leverproof.h"

#include <stdlib.h>
#include <string.h>

struct leverproof_model {
    Defect defect;
    int lanes, ticks, input_count, output_count;
    int input[INPUTS], output[OUTPUTS];
    const char *why;
    Engine engine[LANES];
};

LEVERPROOF_EXPORT int32_t leverproof_interface(void) { return LEVERPROOF_INTERFACE; }

LEVERPROOF_EXPORT const leverproof_description *leverproof_describe(void) {
    static leverproof_signal in[INPUTS], out[OUTPUTS];
    static leverproof_description said = {"Corrie-16", "1", "own physics, invented coefficients",
                                          LANES, 1, INPUTS, OUTPUTS, in, out};
    for (int i = 0; i < INPUTS; i++)
        in[i] = (leverproof_signal){inputs[i].name, inputs[i].unit, inputs[i].states};
    for (int i = 0; i < OUTPUTS; i++)
        out[i] = (leverproof_signal){outputs[i].name, outputs[i].unit, outputs[i].states};
    return &said;
}

LEVERPROOF_EXPORT leverproof_model *leverproof_create(const char *defect) {
    Defect found = DEFECT_NONE;
    if (defect) {
        for (int i = 1; defect_name((Defect)i); i++)
            if (strcmp(defect, defect_name((Defect)i)) == 0) found = (Defect)i;
        if (found == DEFECT_NONE) return NULL;
    }
    leverproof_model *model = calloc(1, sizeof *model);
    if (model) model->defect = found;
    return model;
}

static int32_t refuse(leverproof_model *model, const char *why) {
    model->why = why;
    return LEVERPROOF_BAD_REQUEST;
}

static const char *check_columns(int32_t count, const int32_t *column, int known) {
    int seen[INPUTS + OUTPUTS] = {0};
    if (count < 1 || count > known) return "no columns, or more than there are";
    for (int i = 0; i < count; i++) {
        if (column[i] < 0 || column[i] >= known) return "no such input or output";
        if (seen[column[i]]++) return "an input or output is named twice";
    }
    return NULL;
}

static const char *spread(int count, const int *column, const double *row, double values[INPUTS]) {
    const char *why = NULL;
    for (int k = 0; k < INPUTS; k++) values[k] = inputs[k].absent;
    for (int i = 0; i < count && !why; i++) {
        why = wrong_input(column[i], row[i]);
        values[column[i]] = row[i];
    }
    return why;
}

static void read_lane(const leverproof_model *model, int lane, double *reply) {
    double values[OUTPUTS];
    engine_read(&model->engine[lane], values);
    for (int i = 0; i < model->output_count; i++) reply[i] = values[model->output[i]];
}

LEVERPROOF_EXPORT int32_t leverproof_initialise(leverproof_model *model, int32_t step_ticks, int32_t lanes,
                                                const int32_t *running, int32_t input_count,
                                                const int32_t *input_numbers, int32_t output_count,
                                                const int32_t *output_numbers, const double *row, double *reply) {
    const char *why;
    double values[INPUTS];
    int column[INPUTS];
    if (step_ticks < 1 || STEP_DIVIDES % step_ticks) return refuse(model, "step_ticks must divide 18000");
    if (lanes < 1 || lanes > LANES) return refuse(model, "lanes must be 1 to 256");
    if ((why = check_columns(input_count, input_numbers, INPUTS))) return refuse(model, why);
    if ((why = check_columns(output_count, output_numbers, OUTPUTS))) return refuse(model, why);
    for (int i = 0; i < input_count; i++) column[i] = input_numbers[i];
    for (int lane = 0; lane < lanes; lane++)
        if ((why = spread(input_count, column, row + lane * input_count, values))) return refuse(model, why);
    model->ticks = step_ticks;
    model->lanes = lanes;
    model->input_count = input_count;
    model->output_count = output_count;
    memcpy(model->input, column, sizeof column);
    for (int i = 0; i < output_count; i++) model->output[i] = output_numbers[i];
    for (int lane = 0; lane < lanes; lane++) {
        spread(input_count, column, row + lane * input_count, values);
        engine_start(&model->engine[lane], running[lane] != 0, values, model->defect);
        read_lane(model, lane, reply + lane * output_count);
    }
    return LEVERPROOF_OK;
}

LEVERPROOF_EXPORT int32_t leverproof_advance(leverproof_model *model, int32_t lanes, const int32_t *lane,
                                             int32_t row_count, const double *rows, double *reply) {
    const char *why;
    double values[INPUTS];
    int named[LANES] = {0}, width = model->input_count;
    if (model->lanes == 0) return refuse(model, "initialise comes before advance");
    for (int k = 0; k < lanes; k++) {
        if (lane[k] < 0 || lane[k] >= model->lanes) return refuse(model, "no such lane");
        if (named[lane[k]]++) return refuse(model, "a lane is named twice");
    }
    /* The whole schedule is checked before any engine moves, so a refused one changes nothing. */
    for (long i = 0; i < (long)row_count * lanes; i++)
        if ((why = spread(width, model->input, rows + i * width, values))) return refuse(model, why);
    for (long i = 0; i < (long)row_count * lanes; i++) {
        spread(width, model->input, rows + i * width, values);
        engine_step(&model->engine[lane[i % lanes]], values, model->ticks, model->defect);
        read_lane(model, lane[i % lanes], reply + i * model->output_count);
    }
    return LEVERPROOF_OK;
}

LEVERPROOF_EXPORT void leverproof_destroy(leverproof_model *model) { free(model); }

LEVERPROOF_EXPORT const char *leverproof_last_error(leverproof_model *model) { return model ? model->why : NULL; }
