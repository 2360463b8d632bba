/* Random circuits as amp files: stages of random tubes with random parts on a random supply. No
 * amp would be built so; the equations must hold all the same. */
#ifndef GRIDLEAK_TESTS_SOLVE_RANDOM_AMP_H
#define GRIDLEAK_TESTS_SOLVE_RANDOM_AMP_H

#include "faults.h"

typedef struct random_amp {
    base_random random;
    const tube_library *tubes;
    base_text windings, socket, resistors, capacitors, others;
    int tube_count, resistor_count, capacitor_count, supplies; /* supply nodes B0.. */
} random_amp;

static inline unsigned random_below(random_amp *amp, unsigned count) {
    return (unsigned)(base_random_bits(&amp->random) % count);
}

static inline bool random_chance(random_amp *amp, double chance) {
    return base_random_unit(&amp->random) < chance;
}

/* Between `low` and `high`; one in thirty is anything from 0.1 ohm to 100 megohms. */
static inline void random_resistor(random_amp *amp, const char *a, const char *b, double low,
                                   double high) {
    double ohms = faults_between(&amp->random, low, high);
    if (random_chance(amp, 1.0 / 30)) ohms = faults_between(&amp->random, 0.1, 1e8);
    base_text_add(&amp->resistors, "  R%d: {value: %.3f, at: [%s, %s]}\n", ++amp->resistor_count,
                  ohms, a, b);
}

static inline void random_capacitor(random_amp *amp, const char *a, const char *b, double low,
                                    double high) {
    base_text_add(&amp->capacitors, "  C%d: {value: %.6gu, at: [%s, %s], kind: %s}\n",
                  ++amp->capacitor_count, 1e6 * faults_between(&amp->random, low, high), a, b,
                  low > 1e-6 ? "electrolytic" : "paper");
}

/* One of the supply nodes. */
static inline const char *random_supply(random_amp *amp, char room[16]) {
    sprintf(room, "B%u", random_below(amp, (unsigned)amp->supplies));
    return room;
}

static inline const char *random_pin(int tube, const tube_type *type, int unit,
                                     tube_electrode electrode, char room[16]) {
    sprintf(room, "V%d.%d", tube, type->unit[unit].pin[electrode]);
    return room;
}

/* ---- stages ---- */

static inline void random_grid(random_amp *amp, const char *grid) {
    char stop[16];
    sprintf(stop, "g%d", amp->resistor_count);
    bool stopper = random_chance(amp, 0.5);
    random_resistor(amp, stopper ? stop : grid, "ground", 1e5, 1e7);
    if (stopper) random_resistor(amp, stop, grid, 1e3, 1e5);
    char supply[16];
    if (random_chance(amp, 0.5))
        random_capacitor(amp, random_supply(amp, supply), stopper ? stop : grid, 1e-9, 1e-7);
    if (random_chance(amp, 0.1)) /* a grid joined to a supply through too much */
        random_resistor(amp, random_supply(amp, supply), grid, 1e5, 1e8);
}

/* A triode: plate load and cathode resistor, either of which may be next to nothing (a follower, a
 * grounded cathode). */
static inline void random_triode(random_amp *amp, const tube_type *type, int unit) {
    char plate[16], cathode[16], grid[16], supply[16];
    random_pin(amp->tube_count, type, unit, TUBE_PLATE, plate);
    random_pin(amp->tube_count, type, unit, TUBE_CATHODE, cathode);
    random_grid(amp, random_pin(amp->tube_count, type, unit, TUBE_GRID, grid));
    double load = random_chance(amp, 0.2) ? 1 : 1e4;
    random_resistor(amp, random_supply(amp, supply), plate, load, 20 * load);
    double low = random_chance(amp, 0.2) ? 1e4 : 100;
    random_resistor(amp, cathode, "ground", low, 50 * low);
}

static inline void random_pentode(random_amp *amp, const tube_type *type, int unit) {
    char plate[16], cathode[16], grid[16], screen[16], supply[16];
    random_pin(amp->tube_count, type, unit, TUBE_PLATE, plate);
    random_pin(amp->tube_count, type, unit, TUBE_CATHODE, cathode);
    random_pin(amp->tube_count, type, unit, TUBE_SCREEN, screen);
    random_grid(amp, random_pin(amp->tube_count, type, unit, TUBE_GRID, grid));
    double watts = type->unit[unit].region.plate_a[1] > 0.02 ? 1 : 300;
    random_resistor(amp, random_supply(amp, supply), plate, 100 * watts, 1000 * watts);
    random_resistor(amp, random_supply(amp, supply), screen, 100 * watts, 5000 * watts);
    random_resistor(amp, cathode, "ground", 50, 2000);
}

static inline void random_diode(random_amp *amp, const tube_type *type, int unit) {
    char plate[16], cathode[16], supply[16];
    random_resistor(amp, random_supply(amp, supply),
                    random_pin(amp->tube_count, type, unit, TUBE_PLATE, plate), 1e5, 1e7);
    random_resistor(amp, random_pin(amp->tube_count, type, unit, TUBE_CATHODE, cathode), "ground",
                    1e3, 1e6);
}

/* A heater winding of its own, one end grounded or none. */
static inline void random_heater(random_amp *amp, const tube_type *type) {
    int pin[2] = {0, 0};
    for (int k = 1; k <= type->pins; k++)
        if (type->pin[k].electrode == TUBE_HEATER) pin[pin[0] ? 1 : 0] = k;
    if (!pin[1]) return;
    base_text_add(&amp->windings, "      heater %d: {volts: %g, amps: %g, heater: true, ",
                  amp->tube_count, type->heater_v * (0.7 + 0.5 * base_random_unit(&amp->random)),
                  2 * type->heater_a);
    base_text_add(&amp->windings, "at: [V%d.%d, V%d.%d]}\n", amp->tube_count, pin[0],
                  amp->tube_count, pin[1]);
    char end[16];
    sprintf(end, "V%d.%d", amp->tube_count, pin[0]);
    if (random_chance(amp, 0.8)) random_resistor(amp, end, "ground", 50, 200);
}

static inline void random_stage(random_amp *amp) {
    const tube_type *type;
    do
        type = tube_library_at(amp->tubes,
                               random_below(amp, (unsigned)tube_library_count(amp->tubes)));
    while (type->unit[0].kind == TUBE_DIODE && type->units == 1 + (type->units == 2));
    amp->tube_count++;
    base_text_add(&amp->socket, "  V%d: {type: '%s'}\n", amp->tube_count, type->name);
    for (int unit = 0; unit < type->units; unit++)
        (type->unit[unit].kind == TUBE_TRIODE    ? random_triode
         : type->unit[unit].kind == TUBE_PENTODE ? random_pentode
                                                 : random_diode)(amp, type, unit);
    random_heater(amp, type);
}

/* ---- supplies ---- */

/* A tube of two diodes for the full-wave rectifier, or NULL for silicon. */
static inline const tube_type *random_rectifier_tube(random_amp *amp) {
    const tube_type *type =
        tube_library_at(amp->tubes, random_below(amp, (unsigned)tube_library_count(amp->tubes)));
    bool fits = type->units == 2 && type->unit[0].kind == TUBE_DIODE &&
                type->unit[1].kind == TUBE_DIODE &&
                type->unit[0].pin[TUBE_CATHODE] == type->unit[1].pin[TUBE_CATHODE];
    return fits ? type : random_chance(amp, 0.9) ? random_rectifier_tube(amp) : NULL;
}

static inline void random_full_wave(random_amp *amp, double volts, double ohms) {
    const tube_type *type = random_rectifier_tube(amp);
    char a[16] = "ac1", b[16] = "ac2", out[16] = "B0";
    if (type) {
        random_pin(0, type, 0, TUBE_PLATE, a);
        random_pin(0, type, 1, TUBE_PLATE, b);
        random_pin(0, type, 0, TUBE_CATHODE, out);
        base_text_add(&amp->socket, "  V0: {type: '%s', pins: {%d: B0}}\n", type->name,
                      type->unit[0].pin[TUBE_CATHODE]);
    }
    base_text_add(&amp->windings,
                  "      high: {volts: %.1f-0-%.1f, ohms: %.2f+%.2f, at: [%s, ground, %s]}\n",
                  volts, volts, ohms, ohms, a, b);
    base_text_add(&amp->others,
                  "rectifiers:\n  main: {form: full wave, by: %s, from: T1 high, out: %s}\n",
                  type ? "V0" : "silicon", type ? out : "B0");
}

static inline void random_rectifier(random_amp *amp) {
    static const char *const forms[] = {"full wave", "half wave", "bridge", "doubler"};
    static const char *const ends[] = {NULL, "ground", "ac2", "mid"};
    unsigned form = random_below(amp, 5) % 4;
    double volts = faults_between(&amp->random, form == 3 ? 60 : 100, form == 3 ? 250 : 600);
    double ohms = faults_between(&amp->random, 1, 200);
    if (form == 0) {
        random_full_wave(amp, volts, ohms);
    } else {
        base_text_add(&amp->windings, "      high: {volts: %.1f, ohms: %.2f, at: [ac1, %s]}\n",
                      volts, ohms, ends[form]);
        base_text_add(&amp->others,
                      "rectifiers:\n  main: {form: %s, by: silicon, from: T1 high, out: B0}\n",
                      forms[form]);
    }
    bool doubler = form == 3;
    if (doubler) random_capacitor(amp, "B0", "mid", 1e-5, 1e-4);
    if (doubler || random_chance(amp, 0.8))
        random_capacitor(amp, doubler ? "mid" : "B0", "ground", 1e-6, 1e-4);
}

static inline void random_droppers(random_amp *amp) {
    amp->supplies = 1 + (int)random_below(amp, 4);
    for (int k = 1; k < amp->supplies; k++) {
        char from[16], to[16];
        sprintf(from, "B%d", k - 1);
        sprintf(to, "B%d", k);
        if (k == 1 && random_chance(amp, 0.3))
            base_text_add(
                &amp->others,
                "inductors:\n  L1: {henries: %.2f, ohms: %.1f, kind: choke, at: [B0, B1]}\n",
                faults_between(&amp->random, 1, 20), faults_between(&amp->random, 20, 500));
        else
            random_resistor(amp, from, to, 100, 5e4);
        random_capacitor(amp, to, "ground", 5e-6, 5e-5);
    }
    random_resistor(amp, "B0", "ground", 1e4, 1e6);
    random_capacitor(amp, "g0", "ground", 1e-9, 1e-7); /* one at least, to no purpose */
}

/* The file of a random amp of up to eight tubes; to be freed. */
static inline char *random_amp_text(const tube_library *tubes, uint64_t seed) {
    random_amp amp = {.tubes = tubes};
    base_text *part[] = {&amp.windings, &amp.socket, &amp.resistors, &amp.capacitors, &amp.others};
    base_random_seed(&amp.random, seed);
    for (size_t i = 0; i < 5; i++)
        base_text_init(part[i], 1 << 16);
    random_rectifier(&amp);
    random_droppers(&amp);
    for (int stages = 1 + (int)random_below(&amp, 8); stages > 0; stages--)
        random_stage(&amp);
    base_text whole;
    base_text_init(&whole, 1 << 18);
    base_text_add(&whole,
                  "amp: Random %llu\nmains: {volts: %.1f, hertz: 60, drawn for: 117}\n"
                  "power transformer:\n  T1:\n    primary: {volts: 117, ohms: %.2f, at: [line, "
                  "neutral]}\n    windings:\n%s%stubes:\n%sresistors:\n%scapacitors:\n%s",
                  (unsigned long long)seed, 90 + 50 * base_random_unit(&amp.random),
                  faults_between(&amp.random, 0.5, 10), amp.windings.data, amp.others.data,
                  amp.socket.data, amp.resistors.data, amp.capacitors.data);
    for (size_t i = 0; i < 5; i++)
        base_text_free(part[i]);
    assert_false(whole.failed);
    return whole.data;
}

#endif
