/* leverproof.h: an engine model as a shared library, version 1 of the interface.
 *
 * Define the six functions below, build a shared library (cc -shared -fPIC -O2 -o libengine.so ...) and name it in a
 * stand file with kind = "c_library". It is loaded in a process of its own, never in the harness: a crash, a hang, a
 * call of exit() or a changed floating-point mode ends that process and becomes a verdict. What the library prints
 * goes to standard error and is shown with trouble.
 *
 * Calls come from one thread, one at a time. Nothing here needs C99 beyond <stdint.h>; a C++ library must wrap the
 * functions in extern "C", which this header does for its declarations.
 */
#ifndef LEVERPROOF_H
#define LEVERPROOF_H

#include <stdint.h>

#define LEVERPROOF_INTERFACE 1

#if defined(_WIN32)
#define LEVERPROOF_EXPORT __declspec(dllexport)
#elif defined(__GNUC__)
#define LEVERPROOF_EXPORT __attribute__((visibility("default")))
#else
#define LEVERPROOF_EXPORT
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* begin of the declarations: plain C, read as they stand by the harness where cffi is installed */

/* What the functions that can fail return. Any other value is an error too; the harness shows the number. */
enum {
    LEVERPROOF_OK = 0,
    LEVERPROOF_BAD_REQUEST = 1, /* the arguments do not fit; the model is unchanged and may be used again */
    LEVERPROOF_NO_MEMORY = 2,
    LEVERPROOF_MODEL_ERROR = 3  /* the model itself failed; only destroy may follow */
};

/* One input or output. Texts are zero-terminated UTF-8. `states` names the states of a discrete signal in the order of
 * their numbers, separated by commas without blanks; NULL for any other. */
typedef struct {
    const char *name;
    const char *unit;
    const char *states;
} leverproof_signal;

/* What the library says of itself. */
typedef struct {
    const char *name;         /* of the model */
    const char *version;      /* of the model */
    const char *derived_from; /* whose physics and coefficients; NULL when it will not say */
    int32_t lanes;            /* most engines one model can run side by side, 1 or more */
    int32_t deterministic;    /* 1: the same inputs give the same outputs to the last bit; else 0 */
    int32_t input_count;
    int32_t output_count;
    const leverproof_signal *inputs;
    const leverproof_signal *outputs;
} leverproof_description;

/* A model made by the library: one engine or several lanes of it. Opaque to the harness. */
typedef struct leverproof_model leverproof_model;

/* LEVERPROOF_INTERFACE as the library was compiled with. Called first; nothing else is called when it differs. */
int32_t leverproof_interface(void);

/* The description. It and all it points to belong to the library and stay valid and unchanged for ever. */
const leverproof_description *leverproof_describe(void);

/* A new model, owned by the caller until leverproof_destroy. `defect` names a seeded defect to build in, NULL for
 * none; the text belongs to the caller. Returns NULL when there is no such defect or no memory. */
leverproof_model *leverproof_create(const char *defect);

/* Begins `lanes` fresh engines and forgets earlier ones.
 *   step_ticks   the grid step in ticks of 1/36,000 s; divides 18,000
 *   running      [lanes]: 1 warm and turning, near equilibrium for its inputs; 0 cold and standing still
 *   inputs       [input_count]: numbers of the inputs the rows hold, in their order; others keep a neutral value
 *   outputs      [output_count]: numbers of the outputs wanted, in their order
 *   row          [lanes][input_count]: inputs at the start
 *   reply        [lanes][output_count]: written by the library, outputs at the start
 * All arrays belong to the caller and are valid during the call only. */
int32_t leverproof_initialise(leverproof_model *model, int32_t step_ticks, int32_t lanes, const int32_t *running,
                              int32_t input_count, const int32_t *inputs, int32_t output_count,
                              const int32_t *outputs, const double *row, double *reply);

/* Advances some lanes through a whole schedule; lanes not named stand still.
 *   lane         [lanes]: numbers of the lanes, from 0, all different
 *   rows         [row_count][lanes][input_count]: row i holds the inputs over [t_i, t_i+1)
 *   reply        [row_count][lanes][output_count]: written by the library, row i the outputs at t_i+1
 * A lane's numbers must depend neither on its neighbours nor on how its rows are cut into calls. Numbers that are not
 * finite are passed on as they are. */
int32_t leverproof_advance(leverproof_model *model, int32_t lanes, const int32_t *lane, int32_t row_count,
                           const double *rows, double *reply);

/* Ends a model and gives back all that was allocated for it; NULL is allowed and does nothing. */
void leverproof_destroy(leverproof_model *model);

/* Optional: what the last error of `model` was, in words. The text belongs to the library and is valid until its next
 * call. A library without this function is told apart by its numbers only. */
const char *leverproof_last_error(leverproof_model *model);

/* end of the declarations */

#ifdef __cplusplus
}
#endif

#endif
