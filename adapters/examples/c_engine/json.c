/* A small JSON reader and writer: enough for one message a line, strict about what it accepts. */
#include "corrie.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEEPEST = 64, CHUNK = 4096 };

/* Nodes come from chunks that are kept and used again by the next message. */
typedef struct Chunk { struct Chunk *next; int used; Json nodes[CHUNK]; } Chunk;
typedef struct { char *at; const char *why; int depth; } Reader;
static Chunk *first_chunk, *this_chunk;

static void *must(void *memory) {
    if (memory == NULL) {
        fputs("out of memory\n", stderr);
        exit(1);
    }
    return memory;
}

static Json *node(JsonKind kind) {
    if (first_chunk == NULL) first_chunk = this_chunk = must(calloc(1, sizeof(Chunk)));
    if (this_chunk->used == CHUNK) {
        if (this_chunk->next == NULL) this_chunk->next = must(calloc(1, sizeof(Chunk)));
        this_chunk = this_chunk->next;
        this_chunk->used = 0;
    }
    Json *made = &this_chunk->nodes[this_chunk->used++];
    memset(made, 0, sizeof *made);
    made->kind = kind;
    return made;
}

static void blanks(Reader *in) {
    while (*in->at == ' ' || *in->at == '\t' || *in->at == '\n' || *in->at == '\r') in->at++;
}

static Json *refuse(Reader *in, const char *why) {
    if (in->why == NULL) in->why = why;
    return NULL;
}

static int hex4(const char *at) {
    int value = 0;
    for (int i = 0; i < 4; i++) {
        char c = at[i];
        int digit = c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10
                  : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
        if (digit < 0) return -1;
        value = value * 16 + digit;
    }
    return value;
}

static char *put_utf8(char *to, int code) {
    if (code < 0x80) { *to++ = (char)code; return to; }
    if (code < 0x800) { *to++ = (char)(0xC0 | code >> 6); }
    else { *to++ = (char)(0xE0 | code >> 12); *to++ = (char)(0x80 | (code >> 6 & 0x3F)); }
    *to++ = (char)(0x80 | (code & 0x3F));
    return to;
}

/* Decodes a string in place: the text only gets shorter. Surrogate pairs stay as two three-byte codes. */
static const char *string_text(Reader *in) {
    char *from = in->at + 1, *to = from, *start = from;
    while (*from != '"') {
        if ((unsigned char)*from < 0x20) { refuse(in, "control character or end inside a string"); return NULL; }
        if (*from != '\\') { *to++ = *from++; continue; }
        static const char plain[] = "\"\\/bfnrt", meant[] = "\"\\/\b\f\n\r\t";
        const char *found = from[1] ? strchr(plain, from[1]) : NULL;
        if (found) { *to++ = meant[found - plain]; from += 2; continue; }
        int code = from[1] == 'u' ? hex4(from + 2) : -1;
        if (code <= 0) { refuse(in, "bad escape in a string"); return NULL; }
        to = put_utf8(to, code);
        from += 6;
    }
    in->at = from + 1;
    *to = '\0';
    return start;
}

static double exact_or_library(const char *start, char **end) {
    static const double ten[] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    const char *at = start + (*start == '-');
    uint64_t digits = 0;
    int count = 0, places = 0;
    for (; *at >= '0' && *at <= '9'; at++, count++) digits = digits * 10 + (uint64_t)(*at - '0');
    if (*at == '.')
        for (at++; *at >= '0' && *at <= '9'; at++, count++, places++) digits = digits * 10 + (uint64_t)(*at - '0');
    /* Both factors are exact doubles up to 15 digits, so one division rounds correctly. */
    if (count <= 15 && *at != 'e' && *at != 'E') {
        *end = (char *)at;
        double value = (double)digits / ten[places];
        return *start == '-' ? -value : value;
    }
    return strtod(start, end);
}

static Json *number(Reader *in) {
    char *at = in->at + (*in->at == '-'), *end;
    if (*at < '0' || *at > '9') return refuse(in, "unexpected character");
    if (*at == '0' && at[1] >= '0' && at[1] <= '9') return refuse(in, "number with a leading nought");
    if (*at == '0' && (at[1] == 'x' || at[1] == 'X')) return refuse(in, "hexadecimal number");
    Json *made = node(J_NUMBER);
    made->number = exact_or_library(in->at, &end);
    if (end[-1] == '.') return refuse(in, "number ends in a point");
    if (!isfinite(made->number)) return refuse(in, "number out of range");
    in->at = end;
    return made;
}

static Json *word(Reader *in, const char *text, JsonKind kind, double value) {
    size_t length = strlen(text);
    if (strncmp(in->at, text, length) != 0) return refuse(in, "unexpected word");
    in->at += length;
    Json *made = node(kind);
    made->number = value;
    return made;
}

static Json *value(Reader *in);

static Json *members(Reader *in, JsonKind kind, char close) {
    Json *parent = node(kind), **tail = &parent->child;
    if (++in->depth > DEEPEST) return refuse(in, "nested too deeply");
    in->at++;
    blanks(in);
    while (*in->at != close) {
        const char *key = NULL;
        if (parent->count && *in->at++ != ',') return refuse(in, "expected a comma");
        blanks(in);
        if (kind == J_OBJECT) {
            if (*in->at != '"') return refuse(in, "expected a member name");
            if ((key = string_text(in)) == NULL) return NULL;
            blanks(in);
            if (*in->at++ != ':') return refuse(in, "expected a colon");
        }
        Json *made = value(in);
        if (made == NULL) return NULL;
        made->key = key;
        *tail = made;
        tail = &made->next;
        parent->count++;
        blanks(in);
    }
    in->at++;
    in->depth--;
    return parent;
}

static Json *value(Reader *in) {
    blanks(in);
    switch (*in->at) {
    case '{': return members(in, J_OBJECT, '}');
    case '[': return members(in, J_ARRAY, ']');
    case 't': return word(in, "true", J_BOOL, 1.0);
    case 'f': return word(in, "false", J_BOOL, 0.0);
    case 'n': return word(in, "null", J_NULL, 0.0);
    case '"': {
        Json *made = node(J_STRING);
        made->text = string_text(in);
        return made->text ? made : NULL;
    }
    default: return number(in);
    }
}

Json *json_parse(char *text, const char **why) {
    Reader in = {text, NULL, 0};
    if ((this_chunk = first_chunk) != NULL) this_chunk->used = 0;
    Json *tree = value(&in);
    if (tree) {
        blanks(&in);
        if (*in.at != '\0') tree = refuse(&in, "text after the message");
    }
    *why = in.why;
    return tree;
}

const Json *json_member(const Json *object, const char *key) {
    if (object == NULL || object->kind != J_OBJECT) return NULL;
    for (const Json *at = object->child; at; at = at->next)
        if (strcmp(at->key, key) == 0) return at;
    return NULL;
}

static void put_bytes(Buffer *out, const char *bytes, size_t length) {
    if (out->length + length + 1 > out->room) {
        out->room = 2 * (out->length + length + 1);
        out->bytes = must(realloc(out->bytes, out->room));
    }
    memcpy(out->bytes + out->length, bytes, length);
    out->length += length;
    out->bytes[out->length] = '\0';
}

void put_text(Buffer *out, const char *text) { put_bytes(out, text, strlen(text)); }

void put_string(Buffer *out, const char *text) {
    put_text(out, "\"");
    for (; *text; text++) {
        char escape[8];
        unsigned char c = (unsigned char)*text;
        if (c == '"' || c == '\\') { escape[0] = '\\'; escape[1] = (char)c; put_bytes(out, escape, 2); }
        else if (c < 0x20) { snprintf(escape, sizeof escape, "\\u%04x", c); put_text(out, escape); }
        else put_bytes(out, text, 1);
    }
    put_text(out, "\"");
}

/* A reading is rounded to a millionth of its unit, so its decimal digits are few and read back as the same number. */
void put_reading(Buffer *out, double value) {
    char digits[40], *at = digits + sizeof digits;
    if (isnan(value)) { put_text(out, "\"NaN\""); return; }
    if (isinf(value)) { put_text(out, value > 0 ? "\"Infinity\"" : "\"-Infinity\""); return; }
    if (fabs(value) > 1e12) { snprintf(digits, sizeof digits, "%.17g", value); put_text(out, digits); return; }
    int64_t scaled = llround(value * 1e6);
    uint64_t rest = (uint64_t)(scaled < 0 ? -scaled : scaled), whole = rest / 1000000, part = rest % 1000000;
    if (part) {
        int places = 6;
        for (; part % 10 == 0; places--) part /= 10;
        for (; places > 0; places--, part /= 10) *--at = (char)('0' + part % 10);
        *--at = '.';
    }
    do { *--at = (char)('0' + whole % 10); whole /= 10; } while (whole);
    if (scaled < 0) *--at = '-';
    put_bytes(out, at, (size_t)(digits + sizeof digits - at));
}

void put_value(Buffer *out, const Json *value) {
    char digits[40];
    if (value == NULL) { put_text(out, "null"); return; }
    if (value->kind == J_STRING) { put_string(out, value->text); return; }
    if (value->kind == J_NUMBER) {
        snprintf(digits, sizeof digits, "%.17g", value->number);
        put_text(out, digits);
        return;
    }
    put_text(out, value->kind == J_BOOL ? (value->number != 0.0 ? "true" : "false") : "null");
}
