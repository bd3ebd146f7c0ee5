/* Rill-1, a light engine with one lag, behind the wire protocol on standard streams. C99; in a line, " is held as '. */
#include <math.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
static const char *const NAME[] = {"'throttle'", "'pressure_altitude'", "'manifold_pressure'", "'engine_speed'"};
static const char HELLO[] = "'protocol':1,'model':{'name':'Rill-1','version':'1'},'derived_from':'invented',"
    "'inputs':[{'name':'throttle','unit':'1'},{'name':'pressure_altitude','unit':'ft'}],"
    "'outputs':[{'name':'manifold_pressure','unit':'inHg'},{'name':'engine_speed','unit':'rpm'}]";
static const double LEAST[] = {-0.01, -2000.0, 1.0}, MOST[] = {1.01, 36000.0, 18000.0}; /* inputs; step_ticks */
static struct { double in[2], speed, seconds; int turns, ins, outs, input[2], output[2]; } now, before; /* one lane */
static char line[4 << 20], reply[64 << 20], *at, *to; /* where the request is read, and its reply written */
static long id;
static jmp_buf refusal; /* reached from wherever a request turns out to be bad; `before` is then put back */
static void must(int holds, const char *words) {
    if (holds) return;
    sprintf(reply, "{'id':%ld,'error':{'code':'bad_request','message':'%s'}}", id, words);
    longjmp(refusal, 1);
}
static int is(const char *word) { return strncmp(at, word, strlen(word)) == 0; }
static void expect(const char *word) { must(is(word), "not of the shape of a request"), at += strlen(word); }
static void find(const char *key) { must((at = strstr(line, key)) != NULL, "a key is missing"), at += strlen(key); }
static double number(int k) {
    double value = strchr("-0123456789", *at) ? strtod(at, &at) : NAN;
    must(value >= LEAST[k] && value <= MOST[k], "a number is missing or out of range");
    return value;
}
static int names(const char *const *known, int *column) {
    for (int count = 0;; expect(",")) {
        int k = is(known[1]);
        expect(known[k]), must(count == 0 || (count == 1 && column[0] != k), "a name is there twice");
        column[count++] = k;
        if (is("]")) return count;
    }
}
static void row(void) {
    for (int i = 0; i < now.ins; i++) expect(i ? "," : "["), now.in[now.input[i]] = number(now.input[i]);
    expect("]");
}
static double aim(void) { return 700.0 + 1700.0 * now.in[0]; } /* the rpm that the throttle asks for */
static void put(void) { /* the air of the standard atmosphere, less the suction past the throttle */
    double share = fmin(now.speed / aim(), 1.1), outside = 29.92126 * pow(1.0 - 6.8755856e-6 * now.in[1], 5.255876);
    double value[] = {outside * (1.0 - (0.06 + 0.6 * pow(1.0 - now.in[0], 2.0)) * share * share), now.speed};
    for (int i = 0; i < now.outs; i++) to += sprintf(to, "%c%.17g", i ? ',' : '[', value[now.output[i]]);
    *to++ = ']';
}
static void initialise(void) {
    expect("'initialise'"), find("'step_ticks':"), now.seconds = number(2) / 36000.0, now.in[0] = now.in[1] = 0.0;
    must(fmod(0.5 / now.seconds, 1.0) == 0.0, "step_ticks must divide 18000");
    find("'inputs':["), now.ins = names(NAME, now.input), find("'outputs':["), now.outs = names(NAME + 2, now.output);
    find("'engine':"), now.turns = is("'running'");
    must((now.turns || is("'stopped'")) && !strstr(at, "'engine'"), "one lane, running or stopped");
    find("'row':"), row(), now.speed = now.turns ? aim() : 0.0, put();
}
static void advance(void) { /* a lag of 1.5 s, solved exactly for inputs held over the step */
    for (find("'lanes':[0]"), find("'rows':[");; expect(","), *to++ = ',') {
        expect("["), row(), expect("]");
        now.speed = now.turns * (aim() + (now.speed - aim()) * exp(-now.seconds / 1.5));
        *to++ = '[', put(), *to++ = ']';
        if (is("]")) return;
    }
}
static void answer(void) {
    to = reply + sprintf(reply, "{'id':%ld,'result':{", id), find("'method':");
    if (is("'hello'")) find("'protocols':[1"), to += sprintf(to, "%s}}", HELLO);
    else if (is("'reset'") || is("'close'")) now.ins = 0, strcpy(to, "}}");
    else to += sprintf(to, "'rows':["), is("'advance'") ? advance() : initialise(), strcpy(to, "]}}");
}
int main(void) {
    for (int over = 0; !over && fgets(line, sizeof line, stdin); fflush(stdout)) {
        char *end = line;
        for (char *c = line; *c; c++) if (!strchr(" \t\r\n", *c)) *end++ = *c == '"' ? '\'' : *c;
        *end = 0, before = now, id = (at = strstr(line, "'id':")) ? atol(at + 5) : 0;
        if (setjmp(refusal)) now = before; else answer();
        over = strstr(line, "'method':'close'") && strstr(reply, "'result':");
        for (char *c = reply; *c; c++) if (*c == '\'') *c = '"';
        puts(reply);
    }
}
