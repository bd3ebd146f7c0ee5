/* A model inside a unit for the tests: what fmi_shell.c asks of it. Value references: inputs from 0, outputs from
 * 100, parameters from 200; the text parameter is 300. All values are doubles here, whatever their type outside. */
#ifndef FMI_MODEL_H
#define FMI_MODEL_H

enum { PLACES = 40 };
enum { DONE, WARN, DISCARDED, FAILED, FATALLY };

typedef struct {
    double in[PLACES], out[PLACES], par[PLACES];
    char text[64];
    const char *said; /* for the logger, with a status worse than DONE */
    int over;         /* wants the simulation to end */
} Values;

extern const char *const model_token;
void *model_new(Values *values);                 /* start values; NULL for no instance */
void model_free(void *state);
int model_start(void *state, Values *values);    /* outputs at 0 s from inputs and parameters */
int model_step(void *state, Values *values, double time, double step);

#endif
