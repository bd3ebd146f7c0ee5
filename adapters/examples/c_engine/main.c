/* The wire protocol over stdin and stdout: hello, initialise, advance, reset, close; one JSON object a line. */
#include "signals.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MAX_VALUES = 50000, MAX_BYTES = 4 << 20 };

static Engine engines[LANES];
typedef struct { int count, column[OUTPUTS]; } Columns;
static Columns in, out_columns;
static int lane_count, step_ticks;
static Defect defect = DEFECT_NONE;

static int signal_find(const Signal *signals, int count, const char *name) {
    for (int i = 0; i < count; i++)
        if (strcmp(signals[i].name, name) == 0) return i;
    return -1;
}

static void put_states(Buffer *out, const char *states) {
    char one[2] = "";
    put_text(out, ",\"states\":[\"");
    for (; *states; states++) {
        one[0] = *states;
        put_text(out, *states == ',' ? "\",\"" : one);
    }
    put_text(out, "\"]");
}

static void put_signals(Buffer *out, const Signal *signals, int count) {
    for (int i = 0; i < count; i++) {
        put_text(out, i ? ",{\"name\":\"" : "[{\"name\":\"");
        put_text(out, signals[i].name);
        put_text(out, "\",\"unit\":\"");
        put_text(out, signals[i].unit);
        put_text(out, "\"");
        if (signals[i].states) put_states(out, signals[i].states);
        put_text(out, "}");
    }
    put_text(out, "]");
}

/* Every method writes its result and returns NULL, or returns what was wrong with the request. */
static const char *hello(const Json *params, Buffer *out) {
    const Json *offered = json_member(params, "protocols");
    int spoken = 0;
    if (offered && offered->kind == J_ARRAY)
        for (const Json *at = offered->child; at; at = at->next) spoken |= at->kind == J_NUMBER && at->number == 1.0;
    if (!spoken) return "protocols must be a list that holds 1";
    put_text(out, "{\"protocol\":1,\"model\":{\"name\":\"Corrie-16\",\"version\":\"1\"},"
                  "\"derived_from\":\"own physics, invented coefficients\",\"inputs\":");
    put_signals(out, inputs, INPUTS);
    put_text(out, ",\"outputs\":");
    put_signals(out, outputs, OUTPUTS);
    put_text(out, ",\"capabilities\":{\"lanes\":256,\"max_values\":50000,\"reset\":true,\"deterministic\":true,"
                  "\"settable_surroundings\":true,\"save_state\":false,\"clock\":\"stepped\"}}");
    return NULL;
}

static const char *find_columns(const Json *names, const Signal *signals, int known, Columns *columns) {
    int seen[INPUTS + OUTPUTS] = {0};
    if (names == NULL || names->kind != J_ARRAY || names->count < 1 || names->count > known)
        return "inputs and outputs must be lists of names";
    columns->count = 0;
    for (const Json *at = names->child; at; at = at->next) {
        int found = at->kind == J_STRING ? signal_find(signals, known, at->text) : -1;
        if (found < 0) return "unknown input or output name";
        if (seen[found]++) return "an input or output is named twice";
        columns->column[columns->count++] = found;
    }
    return NULL;
}

static const char *input_row(const Json *row, const Columns *columns, double *values) {
    const char *why;
    int i = 0;
    if (row == NULL || row->kind != J_ARRAY || row->count != columns->count)
        return "a row must hold one number for each input";
    for (int k = 0; k < INPUTS; k++) values[k] = inputs[k].absent;
    for (const Json *at = row->child; at; at = at->next, i++) {
        int k = columns->column[i];
        if (at->kind != J_NUMBER) return "an input is not a finite number";
        if ((why = wrong_input(k, at->number))) return why;
        values[k] = at->number;
    }
    return NULL;
}

static void put_lane(Buffer *out, const Engine *engine, int first) {
    double values[OUTPUTS];
    engine_read(engine, values);
    put_text(out, first ? "[" : ",[");
    for (int i = 0; i < out_columns.count; i++) {
        if (i) put_text(out, ",");
        put_reading(out, values[out_columns.column[i]]);
    }
    put_text(out, "]");
}

static const char *initialise(const Json *params, Buffer *out) {
    const Json *ticks = json_member(params, "step_ticks"), *starts = json_member(params, "starts");
    static double rows[LANES][INPUTS];
    static int running[LANES];
    Columns asked_in, asked_out;
    const char *why;
    if (ticks == NULL || ticks->kind != J_NUMBER || ticks->number < 1.0 || ticks->number > STEP_DIVIDES ||
        ticks->number != (int)ticks->number || STEP_DIVIDES % (int)ticks->number)
        return "step_ticks must be a whole number that divides 18000";
    if ((why = find_columns(json_member(params, "inputs"), inputs, INPUTS, &asked_in))) return why;
    if ((why = find_columns(json_member(params, "outputs"), outputs, OUTPUTS, &asked_out))) return why;
    if (starts == NULL || starts->kind != J_ARRAY || starts->count < 1 || starts->count > LANES)
        return "starts must be a list of 1 to 256 lanes";
    int lane = 0;
    for (const Json *at = starts->child; at; at = at->next, lane++) {
        const Json *state = json_member(at, "engine");
        if (state == NULL || state->kind != J_STRING) return "a start needs engine = running or stopped";
        running[lane] = strcmp(state->text, "running") == 0;
        if (!running[lane] && strcmp(state->text, "stopped") != 0) return "a start needs engine = running or stopped";
        if ((why = input_row(json_member(at, "row"), &asked_in, rows[lane]))) return why;
    }
    in = asked_in;
    out_columns = asked_out;
    step_ticks = (int)ticks->number;
    lane_count = lane;
    put_text(out, "{\"rows\":[");
    for (lane = 0; lane < lane_count; lane++) {
        engine_start(&engines[lane], running[lane], rows[lane], defect);
        put_lane(out, &engines[lane], lane == 0);
    }
    put_text(out, "]}");
    return NULL;
}

/* The whole request is checked before any engine moves, so a refused one changes nothing. */
static const char *check_rows(const Json *rows, int lanes) {
    double values[INPUTS];
    const char *why;
    int widest = in.count > out_columns.count ? in.count : out_columns.count;
    if (rows == NULL || rows->kind != J_ARRAY || rows->count < 1) return "rows must be a list of at least one row";
    if ((long)rows->count * lanes * widest > MAX_VALUES) return "more than 50,000 numbers in one message";
    for (const Json *row = rows->child; row; row = row->next) {
        if (row->kind != J_ARRAY || row->count != lanes) return "a row must hold one list for each lane named";
        for (const Json *at = row->child; at; at = at->next)
            if ((why = input_row(at, &in, values))) return why;
    }
    return NULL;
}

static const char *advance(const Json *params, Buffer *out) {
    const Json *lanes = json_member(params, "lanes"), *rows = json_member(params, "rows");
    int lane[LANES], named[LANES] = {0}, count = 0;
    const char *why;
    double values[INPUTS];
    if (lane_count == 0) return "initialise comes before advance";
    if (lanes == NULL || lanes->kind != J_ARRAY || lanes->count < 1 || lanes->count > lane_count)
        return "lanes must be a list of lane numbers";
    for (const Json *at = lanes->child; at; at = at->next) {
        if (at->kind != J_NUMBER || !(at->number >= 0 && at->number < lane_count) || at->number != (int)at->number)
            return "no such lane";
        if (named[(int)at->number]++) return "a lane is named twice";
        lane[count++] = (int)at->number;
    }
    if ((why = check_rows(rows, count))) return why;
    put_text(out, "{\"rows\":[");
    for (const Json *row = rows->child; row; row = row->next) {
        int k = 0;
        put_text(out, row == rows->child ? "[" : ",[");
        for (const Json *at = row->child; at; at = at->next, k++) {
            input_row(at, &in, values);
            engine_step(&engines[lane[k]], values, step_ticks, defect);
            put_lane(out, &engines[lane[k]], k == 0);
        }
        put_text(out, "]");
    }
    put_text(out, "]}");
    return NULL;
}

static void put_error(Buffer *out, const char *code, const char *message) {
    put_text(out, ",\"error\":{\"code\":\"");
    put_text(out, code);
    put_text(out, "\",\"message\":");
    put_string(out, message);
    put_text(out, "}}\n");
}

/* Answers one line; returns 1 when the program shall end. */
static int answer(char *line, Buffer *out) {
    const char *why = NULL, *name = "";
    const Json *request = json_parse(line, &why), *id = json_member(request, "id");
    const Json *method = json_member(request, "method"), *params = json_member(request, "params");
    out->length = 0;
    put_text(out, "{\"id\":");
    put_value(out, id);
    if (request == NULL || method == NULL || method->kind != J_STRING) {
        put_error(out, "bad_request", why ? why : "a request is an object with id, method and params");
        return 0;
    }
    size_t mark = out->length;
    name = method->text;
    put_text(out, ",\"result\":");
    if (strcmp(name, "hello") == 0) why = hello(params, out);
    else if (strcmp(name, "initialise") == 0) why = initialise(params, out);
    else if (strcmp(name, "advance") == 0) why = advance(params, out);
    else if (strcmp(name, "reset") == 0 || strcmp(name, "close") == 0) { lane_count = 0; put_text(out, "{}"); }
    else {
        out->length = mark;
        put_error(out, "unknown_method", "known: hello, initialise, advance, reset, close");
        return 0;
    }
    if (why) { out->length = mark; put_error(out, strcmp(name, "hello") == 0 ? "version" : "bad_request", why); }
    else put_text(out, "}\n");
    return strcmp(name, "close") == 0;
}

/* One line without its end into a growing buffer; -1 at the end of input, -2 when longer than a message may be. */
static long read_line(Buffer *line) {
    int c, seen = 0;
    line->length = 0;
    while ((c = getc(stdin)) != EOF && c != '\n') {
        seen = 1;
        if (line->length + 2 > line->room && line->room <= MAX_BYTES) {
            line->room = line->room ? 2 * line->room : 65536;
            line->bytes = realloc(line->bytes, line->room);
            if (line->bytes == NULL) exit(1);
        }
        if (line->length + 2 <= line->room) line->bytes[line->length] = (char)c;
        line->length++;
    }
    if (c == EOF && !seen) return -1;
    if (line->length == 0) return 0;
    if (line->length > MAX_BYTES || line->length + 1 > line->room) return -2;
    line->bytes[line->length] = '\0';
    if (memchr(line->bytes, '\0', line->length)) line->bytes[0] = '\0'; /* a stray zero byte: not JSON */
    return (long)line->length;
}

static int choose_defect(int count, char **words) {
    if (count == 1) return 0;
    if (count == 3 && strcmp(words[1], "--defect") == 0)
        for (int i = 1; defect_name((Defect)i); i++)
            if (strcmp(words[2], defect_name((Defect)i)) == 0) { defect = (Defect)i; return 0; }
    fputs("usage: corrie_c [--defect NAME], with NAME one of:\n", stderr);
    for (int i = 1; defect_name((Defect)i); i++) fprintf(stderr, "  %s\n", defect_name((Defect)i));
    return 2;
}

int main(int count, char **words) {
    Buffer line = {0}, out = {0};
    int wrong = choose_defect(count, words), over = 0;
    long length;
    if (wrong) return wrong;
    while (!over && (length = read_line(&line)) != -1) {
        if (length == 0) continue;
        if (length == -2) {
            out.length = 0;
            put_text(&out, "{\"id\":null");
            put_error(&out, "bad_request", "message over 4 MiB");
        } else {
            over = answer(line.bytes, &out);
        }
        if (fwrite(out.bytes, 1, out.length, stdout) != out.length || fflush(stdout) != 0) return 1;
    }
    free(line.bytes);
    free(out.bytes);
    return 0;
}
