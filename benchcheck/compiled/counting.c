/* Loops over frames that NumPy can only do in many passes. Each does what the vectorised code beside its caller does, to
 * the last digit, and is left out where no compiler was at hand: see __init__.py, and tests/compiled.
 *
 * Columns come as buffers of any stride (of one value, spread, where the stride is 0). Nothing is kept between calls.
 */
#define PY_SSIZE_T_CLEAN
#ifndef Py_LIMITED_API
#define Py_LIMITED_API 0x030B0000
#endif
#include <Python.h>
#include <stdint.h>
#include <string.h>

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
#error "written for little-endian machines; NumPy serves on others"
#endif

/* ---- columns ---- */

#define MOST_COLUMNS 12

typedef struct {
    const char *name;
    Py_ssize_t itemsize;
    int axes;     /* 1, or 2 where it is a table whose rows lie in one piece */
    int writable;
} Wanted;

typedef struct {
    Py_buffer view[MOST_COLUMNS];
    int held;
} Columns;

static void release(Columns *columns) {
    while (columns->held) PyBuffer_Release(&columns->view[--columns->held]);
}

/* Takes hold of the arrays, or sets an error and lets go of all. */
static int take(Columns *columns, PyObject *const *arrays, const Wanted *wanted, int count) {
    columns->held = 0;
    for (int k = 0; k < count; k++) {
        Py_buffer *view = &columns->view[k];
        if (PyObject_GetBuffer(arrays[k], view, wanted[k].writable ? PyBUF_STRIDES | PyBUF_WRITABLE : PyBUF_STRIDES)) {
            release(columns);
            return 0;
        }
        columns->held++;
        if (view->itemsize != wanted[k].itemsize || view->ndim != wanted[k].axes ||
            (view->ndim == 2 && view->shape[0] > 1 && view->shape[1] > 0 && view->strides[1] != view->itemsize) ||
            (wanted[k].writable && view->ndim == 1 && view->shape[0] > 1 && view->strides[0] != view->itemsize)) {
            PyErr_Format(PyExc_ValueError, "%s has the wrong form", wanted[k].name);
            release(columns);
            return 0;
        }
    }
    return 1;
}

static int refuse(Columns *columns, const char *why) {
    release(columns);
    PyErr_SetString(PyExc_ValueError, why);
    return 0;
}

/* whether it is of so many columns, and lies in one piece */
static int is_table(const Columns *columns, int k, Py_ssize_t wide) {
    const Py_buffer *view = &columns->view[k];
    return view->shape[1] == wide && (view->shape[0] < 2 || view->strides[0] == view->itemsize * wide);
}

#define ROWS(c, k) ((c)->view[k].shape[0])
/* a column as a pointer and its stride, held in registers: what is stored elsewhere can't change them */
#define IN(name, c, k) const char *const name = (c)->view[k].buf; const Py_ssize_t name##_by = (c)->view[k].strides[0]
#define AT(type, name, row) (*(const type *)(name + (row) * name##_by))
#define OUT(type, c, k) ((type *)(c)->view[k].buf)

/* ---- bits on the wire (the rules: traffic/wire/wire_bits, wire_header, wire_tables) ---- */

enum { EXTENDED = 1, REMOTE = 2, ERROR = 4, FD = 8, BRS = 16, ESI = 32, RAW_CODE_SHIFT = 8 };
enum { DUE = 4, CLASSIC_FIXED = 15 + 1 + 2 + 7 + 3, FD_FIXED = 2 + 7 + 3, FD_CODE = 5, FD_CRC_SHORT = 28, FD_CRC_LONG = 33 };
static const uint8_t FD_LENGTHS[16] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};

enum { WIDEST = 10 }; /* bits looked up at once */
/* by width and (changes << 3 | state): the state behind, and the stuff bits met << 3 */
static uint8_t stuffing[WIDEST + 1][8 << WIDEST];
/* what a byte adds to the CRC where that many bytes follow it; the upper 15 bits of 16 */
static uint16_t crc_of[8][256];

static void make_tables(void) {
    for (int width = 1; width <= WIDEST; width++)
        for (int changes = 0; changes < 1 << width; changes++)
            for (int start = 0; start < 8; start++) {
                int state = start, met = 0;
                for (int place = width - 1; place >= 0; place--) {
                    int change = changes >> place & 1;
                    if (state == DUE) {
                        met++;
                        state = change ? 1 : 0;
                    } else
                        state = change ? 0 : state + 1;
                }
                stuffing[width][changes << 3 | start] = (uint8_t)(state > DUE ? 0 : state | met << 3);
            }
    for (int byte = 0; byte < 256; byte++) {
        uint16_t crc = (uint16_t)(byte << 8);
        for (int behind = 0; behind < 8; behind++) {
            for (int bit = 0; bit < 8; bit++) crc = (uint16_t)(crc << 1 ^ (crc & 0x8000 ? 0x4599 << 1 : 0));
            crc_of[behind][byte] = crc;
        }
    }
}

typedef struct {
    unsigned state, last, met;
} Bits;

/* goes on by `width` changes, of which the table knows that many */
static inline void step(Bits *bits, unsigned changes, int width) {
    unsigned entry = stuffing[width][changes << 3 | bits->state];
    bits->state = entry & 7;
    bits->met += entry >> 3;
}

static inline void through_byte(Bits *bits, unsigned byte) {
    step(bits, byte ^ (byte >> 1 | bits->last << 7), 8);
    bits->last = byte & 1;
}

static inline void through(Bits *bits, uint64_t value, int width) {
    uint64_t changes = value ^ (value >> 1 | (uint64_t)bits->last << (width - 1));
    for (; width > WIDEST; width -= WIDEST) step(bits, changes >> (width - WIDEST) & ((1 << WIDEST) - 1), WIDEST);
    step(bits, changes & ((1u << width) - 1), width);
    bits->last = value & 1;
}

typedef struct {
    uint64_t key; /* identifier, flags and code; 0 is nobody: an error frame has no header */
    Bits bits;
    unsigned crc;
    uint16_t data_bytes, fixed;
} Header;

static void make_header(Header *header, uint64_t key, uint32_t can_id, unsigned flags, unsigned code) {
    unsigned extended = flags & EXTENDED ? 1 : 0, fd = flags & FD ? 1 : 0, remote = flags & REMOTE && !fd ? 1 : 0;
    uint64_t value;
    int width; /* without the start of frame */
    if (fd) {
        unsigned tail = 4 | (flags & BRS ? 1 : 0); /* FDF, res, BRS */
        if (extended) {
            value = ((uint64_t)(can_id >> 18 & 0x7FF) << 24 | 3u << 22 | (uint64_t)(can_id & 0x3FFFF) << 4 | tail);
            width = 35;
        } else {
            value = (uint64_t)(can_id & 0x7FF) << 5 | tail;
            width = 16;
        }
        header->data_bytes = FD_LENGTHS[code];
        header->fixed = (uint16_t)(1 + width + FD_FIXED);
    } else {
        if (extended) {
            value = (uint64_t)(can_id >> 18 & 0x7FF) << 27 | (uint64_t)3 << 25 | (uint64_t)(can_id & 0x3FFFF) << 7;
            width = 38;
        } else {
            value = (uint64_t)(can_id & 0x7FF) << 7;
            width = 18;
        }
        value |= (uint64_t)remote << 6 | code;
        header->data_bytes = (uint16_t)(remote ? 0 : code < 8 ? code : 8);
        header->fixed = (uint16_t)(1 + width + 8 * header->data_bytes + CLASSIC_FIXED);
    }
    header->key = key;
    header->bits = (Bits){0, 0, 0}; /* behind the start of frame: a run of one 0 */
    through(&header->bits, value, width);
    /* what stands before it are zeros, which a CRC that begins with 0 does not see */
    header->crc = 0;
    for (int byte = 0; byte < 5 && !fd; byte++) header->crc ^= crc_of[byte][value >> 8 * byte & 0xFF];
}

#define HEADERS 512

static const Wanted WIRE[] = {{"can_id", 4, 1, 0}, {"flags", 2, 1, 0}, {"length", 1, 1, 0},
                              {"data", 1, 2, 0},   {"nominal", 8, 1, 1}, {"at_data_rate", 8, 1, 1}};

PyDoc_STRVAR(wire_bit_parts_doc,
             "wire_bit_parts(can_id, flags, length, data, nominal, at_data_rate)\n\nFills the last two, int64[n].");

static PyObject *wire_bit_parts(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 6) return PyErr_SetString(PyExc_TypeError, "6 arguments are wanted"), NULL;
    if (!take(&c, args, WIRE, 6)) return NULL;
    Py_ssize_t rows = ROWS(&c, 0);
    for (int k = 1; k < 6; k++)
        if (ROWS(&c, k) != rows) return refuse(&c, "the columns differ in length"), NULL;
    Header *headers = PyMem_Malloc(HEADERS * sizeof(Header));
    if (!headers) return release(&c), PyErr_NoMemory();
    int64_t *nominal = OUT(int64_t, &c, 4), *at_data_rate = OUT(int64_t, &c, 5);
    int held = (int)(c.view[3].shape[1] < 64 ? c.view[3].shape[1] : 64);
    IN(can_id_in, &c, 0);
    IN(flags_in, &c, 1);
    IN(length_in, &c, 2);
    IN(data_in, &c, 3);
    Py_BEGIN_ALLOW_THREADS
    memset(headers, 0, HEADERS * sizeof(Header));
    for (Py_ssize_t row = 0; row < rows; row++) {
        unsigned flags = AT(uint16_t, flags_in, row), length = AT(uint8_t, length_in, row), code;
        nominal[row] = at_data_rate[row] = 0;
        if (flags & ERROR) continue;
        if (flags & FD) {
            for (code = 0; code < 15 && FD_LENGTHS[code] < length;) code++;
        } else {
            unsigned raw = flags >> RAW_CODE_SHIFT & 15;
            code = raw > 8 ? raw : length < 15 ? length : 15;
        }
        uint32_t can_id = AT(uint32_t, can_id_in, row);
        uint64_t key = (uint64_t)can_id | (uint64_t)(flags & 0x3F) << 32 | (uint64_t)code << 40 | (uint64_t)1 << 48;
        Header *header = &headers[key * 0x9E3779B97F4A7C15u >> 55];
        if (header->key != key) make_header(header, key, can_id, flags, code);
        Bits bits = header->bits;
        const uint8_t *data = (const uint8_t *)data_in + row * data_in_by;
        int bytes = header->data_bytes, inside = bytes < held ? bytes : held;
        if (flags & FD) {
            unsigned slow = header->fixed + bits.met;
            bits.met = 0;
            through(&bits, (flags & ESI ? 16u : 0u) | code, FD_CODE);
            int k = 0;
            for (; k < inside; k++) through_byte(&bits, data[k]);
            for (; k < bytes; k++) through_byte(&bits, 0);
            unsigned fast = bits.met + FD_CODE + 8 * bytes + (bytes > 16 ? FD_CRC_LONG : FD_CRC_SHORT);
            nominal[row] = flags & BRS ? slow : slow + fast;
            at_data_rate[row] = flags & BRS ? fast : 0;
            continue;
        }
        unsigned crc = header->crc;
        if (bytes == 8 && inside == 8) {
            crc = (unsigned)(crc_of[7][data[0] ^ crc >> 8] ^ crc_of[6][data[1] ^ (crc & 0xFF)] ^ crc_of[5][data[2]] ^
                             crc_of[4][data[3]] ^ crc_of[3][data[4]] ^ crc_of[2][data[5]] ^ crc_of[1][data[6]] ^
                             crc_of[0][data[7]]);
            uint64_t word = 0;
            for (int k = 0; k < 8; k++) word = word << 8 | data[k];
            uint64_t changes = word ^ (word >> 1 | (uint64_t)bits.last << 63);
            unsigned tail = crc ^ (crc >> 1 | (unsigned)(word & 1) << 15); /* the CRC and its delimiter */
            for (int place = 54; place >= 4; place -= 10) step(&bits, changes >> place & 0x3FF, 10);
            step(&bits, ((unsigned)changes & 0xF) << 6 | tail >> 10, 10);
            step(&bits, tail & 0x3FF, 10);
        } else {
            for (int k = 0; k < bytes; k++) {
                unsigned byte = k < inside ? data[k] : 0;
                crc = (crc << 8 & 0xFFFF) ^ crc_of[0][byte ^ crc >> 8];
                through_byte(&bits, byte);
            }
            /* 15 bits of CRC and one for the delimiter, whose value makes no difference */
            through_byte(&bits, crc >> 8);
            through_byte(&bits, crc & 0xFF);
        }
        nominal[row] = header->fixed + bits.met;
    }
    Py_END_ALLOW_THREADS
    PyMem_Free(headers);
    release(&c);
    Py_RETURN_NONE;
}

/* ---- sums over a batch (traffic/tallies/batch_sums) ---- */

static const Wanted BATCH[] = {{"time_ns", 8, 1, 0}, {"flags", 2, 1, 0}, {"nominal", 8, 1, 0},
                               {"data", 8, 1, 0},    {"bits", 8, 1, 1},  {"long rows", 8, 1, 1}};

PyDoc_STRVAR(sum_batch_doc,
             "sum_batch(time_ns, flags, nominal, data, bits, long_rows, last_ns, short_ns, step_ns)\n"
             "-> (in order, error frames, nominal bits, bits at the data rate, latest stamp, long intervals, longest short)\n\n"
             "Fills bits with the sum of both, and long_rows with the rows that end an interval above short_ns.");

static PyObject *sum_batch(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 9) return PyErr_SetString(PyExc_TypeError, "9 arguments are wanted"), NULL;
    int64_t last = PyLong_AsLongLong(args[6]), short_ns = PyLong_AsLongLong(args[7]), step_ns = PyLong_AsLongLong(args[8]);
    if (PyErr_Occurred() || !take(&c, args, BATCH, 6)) return NULL;
    Py_ssize_t rows = ROWS(&c, 0), longs = 0, errors = 0;
    for (int k = 1; k < 6; k++)
        if (ROWS(&c, k) != rows) return refuse(&c, "the columns differ in length"), NULL;
    int64_t *bits = OUT(int64_t, &c, 4), *long_row = OUT(int64_t, &c, 5);
    int64_t nominal = 0, data = 0, latest = INT64_MIN, longest_short = 0;
    int steps = 0;
    IN(time_in, &c, 0);
    IN(flags_in, &c, 1);
    IN(nominal_in, &c, 2);
    IN(data_in, &c, 3);
    Py_BEGIN_ALLOW_THREADS
    for (Py_ssize_t row = 0; row < rows; row++) {
        int64_t time = AT(int64_t, time_in, row), length = time - last;
        last = time;
        if (time > latest) latest = time;
        errors += (AT(uint16_t, flags_in, row) & ERROR) != 0;
        int64_t slow = AT(int64_t, nominal_in, row), fast = AT(int64_t, data_in, row);
        nominal += slow;
        data += fast;
        bits[row] = slow + fast;
        steps |= length < 0 || length > step_ns;
        if (length > short_ns)
            long_row[longs++] = row;
        else if (length > longest_short)
            longest_short = length;
    }
    Py_END_ALLOW_THREADS
    release(&c);
    return Py_BuildValue("nnLLLnL", (Py_ssize_t)!steps, errors, (long long)nominal, (long long)data, (long long)latest,
                         longs, (long long)longest_short);
}

/* ---- slots of identifiers (traffic/tallies/key_index) ---- */

static const Wanted SLOTS[] = {{"can_id", 4, 1, 0}, {"flags", 2, 1, 0}, {"table", 8, 1, 0}, {"keys", 8, 1, 0}, {"slots", 8, 1, 1}};

PyDoc_STRVAR(find_slots_doc, "find_slots(can_id, flags, table, keys, slots, multiplier, shift) -> rows found\n\n"
                             "Fills slots up to the first identifier that is not known.");

static PyObject *find_slots(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 7) return PyErr_SetString(PyExc_TypeError, "7 arguments are wanted"), NULL;
    uint64_t multiplier = PyLong_AsUnsignedLongLong(args[5]);
    long shift = PyLong_AsLong(args[6]);
    if (PyErr_Occurred()) return NULL;
    if (!take(&c, args, SLOTS, 5)) return NULL;
    Py_ssize_t rows = ROWS(&c, 0), known = ROWS(&c, 3), row = 0;
    if (ROWS(&c, 1) != rows || ROWS(&c, 4) != rows) return refuse(&c, "the columns differ in length"), NULL;
    if (shift < 1 || shift > 63 || ROWS(&c, 2) != (Py_ssize_t)1 << (64 - shift))
        return refuse(&c, "the table does not fit its shift"), NULL;
    int64_t *slots = OUT(int64_t, &c, 4);
    IN(can_id_in, &c, 0);
    IN(flags_in, &c, 1);
    IN(table_in, &c, 2);
    IN(keys_in, &c, 3);
    Py_BEGIN_ALLOW_THREADS
    for (; row < rows; row++) {
        uint64_t key = AT(uint32_t, can_id_in, row) | (uint64_t)(AT(uint16_t, flags_in, row) & EXTENDED) << 32;
        int64_t slot = AT(int64_t, table_in, (Py_ssize_t)(key * multiplier >> shift));
        if (slot < 0 || slot >= known || (uint64_t)AT(int64_t, keys_in, slot) != key) break;
        slots[row] = slot;
    }
    Py_END_ALLOW_THREADS
    release(&c);
    return PyLong_FromSsize_t(row);
}

/* ---- sources (traffic/tallies/source_table) ---- */

enum { CONTEXT = 3 };

/* a row of the state, in the order of its fields */
typedef struct {
    int64_t count, time[CONTEXT], ahead[CONTEXT], segment[CONTEXT]; /* of the last frames */
    int64_t wire_bits, intervals, total, even, alternating, max_gap, max_gap_at, min_gap, gap_limit;
    uint64_t low, high;
    int64_t first_time[CONTEXT], first_ahead[CONTEXT], first_segment[CONTEXT];
} Source;

/* the bins of traffic/tallies/interval_stats */
enum { MANTISSA_BITS = 4, FIRST_OCTAVE = 10, LAST_OCTAVE = 43 };
enum { BINS = (LAST_OCTAVE - FIRST_OCTAVE) * (1 << MANTISSA_BITS) + 3 };

static inline int64_t bin_of(int64_t length) {
    double number = (double)length;
    int64_t bits;
    memcpy(&bits, &number, sizeof bits);
    int64_t bin = (bits >> (52 - MANTISSA_BITS)) - (((1023 + FIRST_OCTAVE) << MANTISSA_BITS) - 2);
    return bin < 1 ? 1 : bin > BINS - 1 ? BINS - 1 : bin;
}

static inline void push(int64_t *last, int64_t value) {
    last[0] = last[1], last[1] = last[2], last[2] = value;
}

static const Wanted SOURCES[] = {{"slots", 8, 1, 0},       {"time_ns", 8, 1, 0},    {"ahead_ns", 8, 1, 0},
                                 {"segment", 8, 1, 0},     {"bits", 8, 1, 0},       {"state", 8, 2, 1},
                                 {"histogram", 8, 2, 1},   {"codes", 8, 1, 1},      {"gap rows", 8, 1, 1},
                                 {"gap lengths", 8, 1, 1}, {"gap stamps", 8, 1, 1}, {"gap leads", 8, 1, 1}};

PyDoc_STRVAR(tell_sources_doc,
             "tell_sources(slots, time_ns, ahead_ns, segment, bits, state, histogram, codes, gap_rows, gap_lengths,\n"
             "gap_stamps, gap_ahead, evenness) -> (codes, gaps)\n\n"
             "Takes frames into the state of a source table. Rows whose slot is negative are left out. Intervals of slots\n"
             "beyond the histogram give a code each, slot * BINS + bin; gaps above their limit give row, length, and stamp\n"
             "and lead of the frame before them.");

static PyObject *tell_sources(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 13) return PyErr_SetString(PyExc_TypeError, "13 arguments are wanted"), NULL;
    int evenness = PyObject_IsTrue(args[12]);
    if (evenness < 0 || !take(&c, args, SOURCES, 12)) return NULL;
    Py_ssize_t rows = ROWS(&c, 0), room = ROWS(&c, 5), dense = ROWS(&c, 6);
    for (int k = 1; k < 12; k++)
        if (k != 5 && k != 6 && ROWS(&c, k) != rows) return refuse(&c, "the columns differ in length"), NULL;
    if (!is_table(&c, 5, sizeof(Source) / 8) || !is_table(&c, 6, BINS))
        return refuse(&c, "the state has other fields"), NULL;
    Source *state = OUT(Source, &c, 5);
    int64_t *histogram = OUT(int64_t, &c, 6), *codes = OUT(int64_t, &c, 7), *gap_row = OUT(int64_t, &c, 8);
    int64_t *gap_length = OUT(int64_t, &c, 9), *gap_stamp = OUT(int64_t, &c, 10), *gap_ahead = OUT(int64_t, &c, 11);
    Py_ssize_t further = 0, gaps = 0, row = 0;
    IN(slots_in, &c, 0);
    IN(time_in, &c, 1);
    IN(ahead_in, &c, 2);
    IN(segment_in, &c, 3);
    IN(bits_in, &c, 4);
    Py_BEGIN_ALLOW_THREADS
    for (; row < rows; row++) {
        int64_t slot = AT(int64_t, slots_in, row);
        if (slot < 0) continue;
        if (slot >= room) break;
        Source *source = &state[slot];
        int64_t time = AT(int64_t, time_in, row), ahead = AT(int64_t, ahead_in, row), segment = AT(int64_t, segment_in, row);
        int64_t before = source->count++;
        source->wire_bits += AT(int64_t, bits_in, row);
        if (before < CONTEXT) {
            source->first_time[before] = time;
            source->first_ahead[before] = ahead;
            source->first_segment[before] = segment;
        }
        if (before && source->segment[2] == segment) {
            int64_t length = time - source->time[2];
            source->intervals++;
            source->total += length;
            if (length < source->min_gap) source->min_gap = length;
            if (length > source->max_gap) source->max_gap = length, source->max_gap_at = source->time[2];
            if (length > source->gap_limit) {
                gap_row[gaps] = row;
                gap_length[gaps] = length;
                gap_stamp[gaps] = source->time[2];
                gap_ahead[gaps++] = source->ahead[2];
            }
            /* the square, of at most 128 bits, in two halves */
            uint64_t a = (uint64_t)length >> 32, b = (uint64_t)length & 0xFFFFFFFF, square = b * b, more = a * a;
            if (a) {
                uint64_t cross = a * b, add = cross << 33; /* twice, and 32 bits up */
                more += cross >> 31;
                square += add;
                more += square < add;
            }
            source->low += square;
            source->high += more + (source->low < square);
            int64_t bin = bin_of(length);
            if (slot < dense)
                histogram[slot * BINS + bin]++;
            else
                codes[further++] = slot * BINS + bin;
            if (evenness && before >= 3 && source->segment[0] == segment) {
                int64_t second = source->time[2] - source->time[1], third = source->time[1] - source->time[0];
                int64_t apart = length > second ? length - second : second - length, both = (length + second) >> 3;
                int64_t turn = length > third ? length - third : third - length;
                if (apart <= both)
                    source->even++;
                else if (turn <= both)
                    source->alternating++;
            }
        }
        push(source->time, time);
        push(source->ahead, ahead);
        push(source->segment, segment);
    }
    Py_END_ALLOW_THREADS
    if (row < rows) return refuse(&c, "a slot is beyond the table"), NULL;
    release(&c);
    return Py_BuildValue("nn", further, gaps);
}

/* ---- data (traffic/tallies/payload_table) ---- */

/* a row of the state, in the order of its fields; of `words` words behind it: the bits that changed, the last and the first frames */
typedef struct {
    int64_t count, changes, one_step, two_step, shortest, longest;
    uint64_t changed[1];
} Payload;

static const Wanted PAYLOAD[] = {
    {"slots", 8, 1, 0}, {"data", 1, 2, 0}, {"length", 1, 1, 0}, {"flags", 2, 1, 0}, {"state", 8, 2, 1}};

static inline Py_ssize_t payload_rows(Columns *c, Py_ssize_t rows, Py_ssize_t room, Py_ssize_t words, int steps) {
    const Py_ssize_t wide = 6 + words + 2 * CONTEXT * (words + 1);
    int64_t *state = OUT(int64_t, c, 4);
    const size_t bytes = (size_t)c->view[1].shape[1];
    IN(slots_in, c, 0);
    IN(data_in, c, 1);
    IN(length_in, c, 2);
    IN(flags_in, c, 3);
    Py_ssize_t row = 0;
    for (; row < rows; row++) {
        int64_t slot = AT(int64_t, slots_in, row);
        if (AT(uint16_t, flags_in, row) & REMOTE) continue;
        if (slot < 0 || slot >= room) break;
        Payload *payload = (Payload *)(state + slot * wide);
        uint64_t *changed = payload->changed, *tail = changed + words, *last = tail + 2 * words;
        int64_t *lengths = (int64_t *)(tail + CONTEXT * words);
        int64_t length = AT(uint8_t, length_in, row), before = payload->count++;
        const char *data = data_in + row * data_in_by;
        uint64_t word[8];
        if (words == 1)
            memcpy(word, data, 8);
        else {
            memset(word, 0, sizeof word);
            memcpy(word, data, bytes);
        }
        if (before < CONTEXT) {
            uint64_t *head = (uint64_t *)(lengths + CONTEXT);
            memcpy(head + before * words, word, 8 * (size_t)words);
            head[CONTEXT * words + before] = (uint64_t)length;
        }
        if (length < payload->shortest) payload->shortest = length;
        if (length > payload->longest) payload->longest = length;
        if (before) {
            uint64_t other = length != lengths[2];
            for (Py_ssize_t k = 0; k < words; k++) {
                uint64_t turned = word[k] ^ last[k];
                changed[k] |= turned;
                other |= turned;
            }
            payload->changes += other != 0;
        }
        if (steps && before >= 3) {
            uint64_t first = tail[0], second = tail[words], third = tail[2 * words];
            uint64_t step = word[0] - third, leap = word[0] - second;
            if (step == third - second)
                payload->one_step += step != 0;
            else
                payload->two_step += leap == third - first && leap != 0;
        }
        for (Py_ssize_t k = 0; k < words; k++) tail[k] = tail[words + k], tail[words + k] = last[k], last[k] = word[k];
        push(lengths, length);
    }
    return row;
}

PyDoc_STRVAR(tell_payload_doc, "tell_payload(slots, data, length, flags, state, steps)\n\n"
                               "Takes the data of frames, remote ones left out, into the state of a payload table.");

static PyObject *tell_payload(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 6) return PyErr_SetString(PyExc_TypeError, "6 arguments are wanted"), NULL;
    int steps = PyObject_IsTrue(args[5]);
    if (steps < 0 || !take(&c, args, PAYLOAD, 5)) return NULL;
    Py_ssize_t rows = ROWS(&c, 0), room = ROWS(&c, 4), bytes = c.view[1].shape[1];
    for (int k = 1; k < 4; k++)
        if (ROWS(&c, k) != rows) return refuse(&c, "the columns differ in length"), NULL;
    Py_ssize_t words = (c.view[4].shape[1] - 6 - 2 * CONTEXT) / (1 + 2 * CONTEXT);
    if (words < 1 || words > 8 || !is_table(&c, 4, 6 + words + 2 * CONTEXT * (words + 1)) || bytes % 8 || bytes < 8 ||
        bytes > 8 * words)
        return refuse(&c, "the state has other fields"), NULL;
    Py_ssize_t row;
    Py_BEGIN_ALLOW_THREADS
    /* with the width known, the copies are single moves */
    row = words == 1 ? payload_rows(&c, rows, room, 1, steps) : payload_rows(&c, rows, room, words, steps);
    Py_END_ALLOW_THREADS
    if (row < rows) return refuse(&c, "a slot is beyond the table"), NULL;
    release(&c);
    Py_RETURN_NONE;
}

/* ---- windows (traffic/tallies/window_runs) ---- */

static const Wanted WINDOWS[] = {{"time_ns", 8, 1, 0},        {"nominal", 8, 1, 0}, {"data", 8, 1, 0},
                                 {"numbers", 8, 1, 1}, {"nominal sums", 8, 1, 1}, {"data sums", 8, 1, 1}};

PyDoc_STRVAR(sum_windows_doc, "sum_windows(time_ns, nominal, data, numbers, nominal_sums, data_sums, origin_ns, width_ns)\n"
                              "-> runs\n\nFills the last three arrays with the number of the window and the bits of each run\n"
                              "of frames in one window.");

static PyObject *sum_windows(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 8) return PyErr_SetString(PyExc_TypeError, "8 arguments are wanted"), NULL;
    int64_t origin = PyLong_AsLongLong(args[6]), width = PyLong_AsLongLong(args[7]);
    if (PyErr_Occurred() || !take(&c, args, WINDOWS, 6)) return NULL;
    Py_ssize_t rows = ROWS(&c, 0), runs = -1;
    for (int k = 1; k < 6; k++)
        if (ROWS(&c, k) != rows) return refuse(&c, "the columns differ in length"), NULL;
    if (width < 1) return refuse(&c, "a window must have a width above 0"), NULL;
    int64_t *number = OUT(int64_t, &c, 3), *nominal = OUT(int64_t, &c, 4), *data = OUT(int64_t, &c, 5);
    IN(time_in, &c, 0);
    IN(nominal_in, &c, 1);
    IN(data_in, &c, 2);
    Py_BEGIN_ALLOW_THREADS
    int64_t inside = width; /* ns since the start of the window: none as yet */
    int64_t before = 0;
    for (Py_ssize_t row = 0; row < rows; row++) {
        int64_t time = AT(int64_t, time_in, row);
        inside += time - before;
        before = time;
        if (runs < 0 || inside < 0 || inside >= width) {
            int64_t since = time - origin, found = since / width - (since % width < 0);
            inside = since - found * width;
            if (runs < 0 || number[runs] != found) {
                number[++runs] = found;
                nominal[runs] = data[runs] = 0;
            }
        }
        nominal[runs] += AT(int64_t, nominal_in, row);
        data[runs] += AT(int64_t, data_in, row);
    }
    Py_END_ALLOW_THREADS
    release(&c);
    return PyLong_FromSsize_t(runs + 1);
}

/* ---- plain frames of a capture (capture/plain_frames) ---- */

enum { PACKET = 6, PLAIN_WORDS = 12, PLAIN_BYTES = 48, CAUGHT = 16, LATEST_HIGH = 1 << 30, WIRE_KINDS = 0x60000000 };

static const Wanted PLAIN[] = {{"words", 4, 1, 0}, {"time_ns", 8, 1, 1}, {"can_id", 4, 1, 1},
                               {"flags", 2, 1, 1}, {"length", 1, 1, 1},  {"data", 1, 2, 1}};

PyDoc_STRVAR(plain_frames_doc, "plain_frames(words, time_ns, can_id, flags, length, data, place, least) -> frames\n\n"
                               "Reads plain frames of one interface from packet blocks of 48 bytes, from words[place] on, as\n"
                               "far as there are any and room is left. Fewer than `least` are left alone, and give 0.");

static inline uint32_t swapped(uint32_t word) {
    return word >> 24 | (word >> 8 & 0xFF00) | (word << 8 & 0xFF0000) | word << 24;
}

static inline int is_plain(const uint32_t *block, uint32_t interface) {
    uint32_t wire_id = swapped(block[7]);
    return block[0] == PACKET && block[1] == PLAIN_BYTES && block[2] == interface && block[3] < LATEST_HIGH &&
           block[5] == CAUGHT && block[8] <= 8 && !(wire_id & WIRE_KINDS) && (wire_id >> 31 || wire_id <= 0x7FF) &&
           block[11] == PLAIN_BYTES;
}

static PyObject *plain_frames(PyObject *self, PyObject *const *args, Py_ssize_t given) {
    Columns c;
    if (given != 8) return PyErr_SetString(PyExc_TypeError, "8 arguments are wanted"), NULL;
    Py_ssize_t place = PyLong_AsSsize_t(args[6]), least = PyLong_AsSsize_t(args[7]);
    if (PyErr_Occurred() || !take(&c, args, PLAIN, 6)) return NULL;
    Py_ssize_t size = ROWS(&c, 0), room = ROWS(&c, 1), count = 0;
    for (int k = 2; k < 6; k++)
        if (ROWS(&c, k) != room) return refuse(&c, "the columns differ in length"), NULL;
    if (place < 0 || place > size) return refuse(&c, "the place is beyond the words"), NULL;
    if (size > 1 && c.view[0].strides[0] != 4) return refuse(&c, "the words don't lie in one piece"), NULL;
    if (!is_table(&c, 5, 8)) return refuse(&c, "there are 8 bytes of data"), NULL;
    Py_ssize_t most = (size - place) / PLAIN_WORDS;
    if (most > room) most = room;
    const uint32_t *block = (const uint32_t *)c.view[0].buf + place;
    uint32_t interface = most ? block[2] : 0;
    if (most < least || (most && least && !is_plain(block + PLAIN_WORDS * (least - 1), interface))) most = 0;
    int64_t *time_ns = OUT(int64_t, &c, 1);
    uint32_t *can_id = OUT(uint32_t, &c, 2);
    uint16_t *flags = OUT(uint16_t, &c, 3);
    uint8_t *length = OUT(uint8_t, &c, 4);
    uint64_t *data = OUT(uint64_t, &c, 5);
    Py_BEGIN_ALLOW_THREADS
    for (; count < most && is_plain(block, interface); count++, block += PLAIN_WORDS) {
        uint32_t wire_id = swapped(block[7]), bytes = block[8];
        time_ns[count] = (int64_t)((uint64_t)block[3] << 32 | block[4]);
        can_id[count] = wire_id & 0x1FFFFFFF;
        flags[count] = (uint16_t)(wire_id >> 31);
        length[count] = (uint8_t)bytes;
        uint64_t held = (uint64_t)block[10] << 32 | block[9];
        data[count] = bytes == 8 ? held : held & (((uint64_t)1 << 8 * bytes) - 1);
    }
    Py_END_ALLOW_THREADS
    release(&c);
    return PyLong_FromSsize_t(count < least ? 0 : count);
}

static PyMethodDef methods[] = {
    {"wire_bit_parts", (PyCFunction)(void (*)(void))wire_bit_parts, METH_FASTCALL, wire_bit_parts_doc},
    {"plain_frames", (PyCFunction)(void (*)(void))plain_frames, METH_FASTCALL, plain_frames_doc},
    {"sum_batch", (PyCFunction)(void (*)(void))sum_batch, METH_FASTCALL, sum_batch_doc},
    {"find_slots", (PyCFunction)(void (*)(void))find_slots, METH_FASTCALL, find_slots_doc},
    {"tell_sources", (PyCFunction)(void (*)(void))tell_sources, METH_FASTCALL, tell_sources_doc},
    {"sum_windows", (PyCFunction)(void (*)(void))sum_windows, METH_FASTCALL, sum_windows_doc},
    {"tell_payload", (PyCFunction)(void (*)(void))tell_payload, METH_FASTCALL, tell_payload_doc},
    {NULL, NULL, 0, NULL}};

static struct PyModuleDef module = {PyModuleDef_HEAD_INIT, "counting", "Loops over frames, compiled.", -1, methods, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit_counting(void) {
    make_tables();
    return PyModule_Create(&module);
}
