/* A two-lag engine as a unit for the tests: manifold pressure follows the throttle, engine speed follows manifold
 * pressure; invented. With FMI_VICE in the environment it has one vice, which shows at 0.2 s or where its name says;
 * with FMI_VICE_WHEN_OPENED too, while the throttle is opened beyond half. */
#include "fmi_model.h"

#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { THROTTLE, MIXTURE, HEAT };
enum { PRESSURE, SPEED, LIGHT, AIRBOX, POINT, OIL, CYLINDERS, LENGTH };
enum { LAG, STILL, BIAS };
enum { CRASHES, HANGS, PRINTS, EXITS, ERRS, DISCARDS, DIES_FATALLY, FREES_TWICE, NO_INSTANCE, NOT_A_NUMBER, WARNS,
       WANTS_TO_END, ABORTS_AT_LOAD, CRASHES_WHEN_FREED, FORKS, STRANGE_STATE, HANGS_AT_START, HANGS_AT_LOAD, NONE };
static const char *const vices[NONE] = {
    "crashes", "hangs", "prints", "exits", "errs", "discards", "dies_fatally", "frees_twice", "no_instance",
    "not_a_number", "warns", "wants_to_end", "aborts_at_load", "crashes_when_freed", "forks", "strange_state",
    "hangs_at_start", "hangs_at_load"};
static int vice, when_opened;

const char *const model_token = "{0d6f7b4e-5f43-4c6e-9a53-3d1c8f2b7a10}";

typedef struct { double pressure, speed; } State;

static void for_ever(void) { for (;;) pause(); }

__attribute__((constructor)) static void at_load(void) {
    const char *asked = getenv("FMI_VICE");
    for (vice = 0; vice < NONE; vice++)
        if (asked && strcmp(asked, vices[vice]) == 0) break;
    when_opened = getenv("FMI_VICE_WHEN_OPENED") != NULL;
    if (vice == ABORTS_AT_LOAD) abort();
    if (vice == HANGS_AT_LOAD) for_ever();
}

void *model_new(Values *v) {
    v->par[LAG] = 2.0;
    v->in[MIXTURE] = 3.0;
    return vice == NO_INSTANCE ? NULL : calloc(1, sizeof(State));
}

void model_free(void *state) {
    if (vice == CRASHES_WHEN_FREED) raise(SIGSEGV);
    void *volatile again = state;
    free(state);
    if (vice == FREES_TWICE) free(again);
}

static double wanted(const Values *v) { return v->par[STILL] ? 101.325 : 35.0 + 70.0 * v->in[THROTTLE] + v->par[BIAS]; }

static void show(const State *s, Values *v) {
    v->out[PRESSURE] = s->pressure;
    v->out[SPEED] = s->speed;
    v->out[LIGHT] = s->speed > 2000.0;
    v->out[AIRBOX] = v->in[HEAT] ? 40.0 : 15.0;
    v->out[OIL] = 0.5 * v->in[MIXTURE];
    v->out[CYLINDERS] = 16.0;
    v->out[LENGTH] = (double)strlen(v->text);
}

int model_start(void *state, Values *v) {
    State *s = state;
    if (vice == HANGS_AT_START) for_ever();
    s->pressure = wanted(v);
    s->speed = v->par[STILL] ? 0.0 : 25.0 * s->pressure;
    v->out[POINT] = 0.0;
    show(s, v);
    return DONE;
}

static int misbehave(Values *v) {
    static const char *const words = "the oil is cold";
    v->said = words;
    switch (vice) {
    case CRASHES: raise(SIGSEGV); break;
    case HANGS: for_ever(); break;
    case PRINTS: printf("{\"id\":3,\"result\":{\"rows\":[]}}\nrpm looks fine\n"); fflush(stdout); break;
    case EXITS: exit(3);
    case ERRS: return FAILED;
    case DISCARDS: v->over = 1; return DISCARDED;
    case DIES_FATALLY: return FATALLY;
    case NOT_A_NUMBER: v->out[PRESSURE] = NAN; v->out[SPEED] = -INFINITY; break;
    case WARNS: return WARN;
    case WANTS_TO_END: v->over = 1; break;
    case FORKS: if (fork() == 0) for_ever(); exit(4);
    case STRANGE_STATE: v->out[LIGHT] = 7.0; break;
    default: break;
    }
    return DONE;
}

int model_step(void *state, Values *v, double time, double step) {
    State *s = state;
    s->pressure += (wanted(v) - s->pressure) * step / (v->par[LAG] + step);
    s->speed += v->par[STILL] ? 0.0 : (25.0 * s->pressure - s->speed) * step / (0.5 + step);
    v->out[POINT] = time;
    show(s, v);
    return (when_opened ? v->in[THROTTLE] > 0.5 : time > 0.19) ? misbehave(v) : DONE;
}
