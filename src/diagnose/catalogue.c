/* The catalogue: from each part and the slots that it has, every way in which it can fail. */
#include "diagnose_impl.h"

#include <string.h>

#define OPEN_OHMS 1e10
#define ROOM_PER_PART 40 /* a twin triode with nine pins has 22 modes */

/* ---- making one fault ---------------------------------------------------------------------- */

diagnose_fault *diagnose_maker_add(diagnose_maker *maker, diagnose_mode mode, int which) {
    diagnose_catalogue *catalogue = maker->catalogue;
    double prior = diagnose_weight(maker->priors, &maker->stress, mode);
    if (!(prior > 0) || catalogue->count == catalogue->room) return NULL;
    diagnose_fault *fault = &catalogue->fault[catalogue->count++];
    *fault = (diagnose_fault){
        .mode = mode, .part = maker->part, .which = which, .prior = prior, .severities = 1};
    fault->severity[0] = NAN;
    fault->weight[0] = 1;
    return fault;
}

void diagnose_fault_sets(diagnose_fault *fault, int slot, double number) {
    if (!fault || slot < 0 || fault->sets == DIAGNOSE_SETS) return;
    fault->slot[fault->sets] = slot;
    for (int k = 0; k < DIAGNOSE_SEVERITIES; k++)
        fault->number[fault->sets][k] = number;
    fault->sets++;
}

void diagnose_fault_grid(diagnose_fault *fault, int count, double from, double to) {
    if (!fault) return;
    fault->severities = count;
    double step = log(to / from) / count;
    for (int k = 0; k < count; k++) {
        fault->severity[k] = from * exp(step * (k + 0.5));
        fault->weight[k] = 1.0 / count;
    }
    fault->cell = fabs(step) / sqrt(12);
}

void diagnose_fault_follows(diagnose_fault *fault, int slot, double scale) {
    if (!fault || slot < 0 || fault->sets == DIAGNOSE_SETS) return;
    fault->slot[fault->sets] = slot;
    for (int k = 0; k < fault->severities; k++)
        fault->number[fault->sets][k] = fault->severity[k] * scale;
    fault->sets++;
}

int diagnose_maker_slot(const diagnose_maker *maker, solve_what what, int which) {
    return solve_slot_find(maker->bench->system, maker->part, what, which);
}

static double nominal(const diagnose_maker *maker, int slot) {
    return slot < 0 ? NAN : maker->bench->numbers[slot];
}

double diagnose_bench_volts(const diagnose_bench *bench, int plus, int minus, double *ohms) {
    solve_probe probe = {.plus = plus, .minus = minus, .meter_ohms = INFINITY};
    if (ohms) *ohms = NAN;
    if (plus < 0 || minus < 0) return NAN;
    if (plus == minus || !solve_probe_exists(bench->system, &probe)) return NAN;
    return solve_read(bench->work, bench->numbers, bench->x, &probe, NULL, ohms);
}

/* A fault that only opens, or only shorts, what one slot stands for. */
static void set_only(diagnose_maker *maker, diagnose_mode mode, int which, int slot,
                     double number) {
    if (slot >= 0) diagnose_fault_sets(diagnose_maker_add(maker, mode, which), slot, number);
}

/* ---- resistors, capacitors, pots ----------------------------------------------------------- */

static void add_resistor(diagnose_maker *maker) {
    int slot = diagnose_maker_slot(maker, SOLVE_OHMS, 0);
    if (slot < 0) return;
    double ohms = nominal(maker, slot);
    set_only(maker, DIAGNOSE_OPEN, 0, slot, OPEN_OHMS);
    set_only(maker, DIAGNOSE_SHORTED, 0, slot, fmin(fmax(1, 1e-3 * ohms), 0.1 * ohms));
    diagnose_fault *high = diagnose_maker_add(maker, DIAGNOSE_HIGH, 0);
    diagnose_fault_grid(high, 6, 1.25, 10);
    diagnose_fault_follows(high, slot, ohms);
}

/* A leak matters from where it swamps the circuit around it to where nobody could see it: from a
 * thirtieth of the ohms that the amp shows at the capacitor to three hundred times those. */
static void add_leak(diagnose_maker *maker, int slot) {
    double ohms = NAN;
    diagnose_bench_volts(maker->bench, maker->stress.part->end[0], maker->stress.part->end[1],
                         &ohms);
    if (!(ohms > 1)) ohms = 1e4;
    double from = fmin(fmax(ohms / 30, 10), 1e6), to = fmin(300 * ohms, 1e9);
    diagnose_fault *leaky = diagnose_maker_add(maker, DIAGNOSE_LEAKY, 0);
    diagnose_fault_grid(leaky, DIAGNOSE_SEVERITIES, to, from);
    diagnose_fault_follows(leaky, slot, 1);
    diagnose_fault *shorted = diagnose_maker_add(maker, DIAGNOSE_SHORTED, 0);
    diagnose_fault_grid(shorted, 2, 1, fmin(100, from));
    diagnose_fault_follows(shorted, slot, 1);
}

/* An electrolytic that dries out loses farads and gains series ohms; or the ohms come first. */
static void add_esr(diagnose_maker *maker, diagnose_fault *open, int slot) {
    double ohms = nominal(maker, slot);
    for (int k = 0; open && k < open->severities; k++)
        open->number[open->sets][k] = ohms / open->severity[k];
    if (open) open->slot[open->sets++] = slot;
    diagnose_fault *high = diagnose_maker_add(maker, DIAGNOSE_HIGH_ESR, 0);
    diagnose_fault_grid(high, 4, 4 * ohms, 300 * ohms);
    diagnose_fault_follows(high, slot, 1);
}

/* An open capacitor shows at DC only beside a rectifier; the fault is kept all the same, so that a
 * healthy chart is never taken for a healthy amp. */
static void add_capacitor(diagnose_maker *maker) {
    int leak = diagnose_maker_slot(maker, SOLVE_LEAK, 0);
    int farads = diagnose_maker_slot(maker, SOLVE_FARADS, 0);
    if (leak >= 0) add_leak(maker, leak);
    int esr = diagnose_maker_slot(maker, SOLVE_ESR, 0);
    diagnose_fault *open = diagnose_maker_add(maker, DIAGNOSE_CAP_OPEN, 0);
    diagnose_fault_grid(open, esr >= 0 ? 6 : 3, esr >= 0 ? 0.7 : 0.5, 0.005);
    if (farads >= 0) diagnose_fault_follows(open, farads, nominal(maker, farads));
    if (esr >= 0) add_esr(maker, open, esr);
}

static void add_pot(diagnose_maker *maker) {
    for (int side = 0; side < 2; side++)
        set_only(maker, DIAGNOSE_TRACK_OPEN, side, diagnose_maker_slot(maker, SOLVE_OHMS, side),
                 OPEN_OHMS);
    set_only(maker, DIAGNOSE_WIPER_OPEN, 0, diagnose_maker_slot(maker, SOLVE_CONTACT, 0),
             OPEN_OHMS);
}

static void add_contacts(diagnose_maker *maker) {
    if (diagnose_catalogue_in_primary(maker)) {
        diagnose_catalogue_dead(maker, DIAGNOSE_CONTACT_OPEN, (int)maker->stress.part->position);
        return;
    }
    for (int way = 1; way <= CIRCUIT_WAYS; way++)
        set_only(maker, DIAGNOSE_CONTACT_OPEN, way, diagnose_maker_slot(maker, SOLVE_CONTACT, way),
                 OPEN_OHMS);
}

/* ---- coils and the rest -------------------------------------------------------------------- */

static void add_inductor(diagnose_maker *maker) {
    int slot = diagnose_maker_slot(maker, SOLVE_OHMS, 0);
    if (slot < 0) return;
    set_only(maker, DIAGNOSE_OPEN, 0, slot, OPEN_OHMS);
    set_only(maker, DIAGNOSE_SHORTED, 0, slot, 0.01 * nominal(maker, slot));
    diagnose_fault *turns = diagnose_maker_add(maker, DIAGNOSE_TURNS_SHORTED, 0);
    diagnose_fault_grid(turns, 3, 0.8, 0.1);
    diagnose_fault_follows(turns, slot, nominal(maker, slot));
}

static void add_output_transformer(diagnose_maker *maker) {
    for (int half = 0; half < 2; half++) {
        int slot = diagnose_maker_slot(maker, SOLVE_OHMS, half);
        if (slot < 0) continue;
        set_only(maker, DIAGNOSE_OPEN, half, slot, OPEN_OHMS);
        diagnose_fault *turns = diagnose_maker_add(maker, DIAGNOSE_TURNS_SHORTED, half);
        diagnose_fault_grid(turns, 3, 0.8, 0.1);
        diagnose_fault_follows(turns, slot, nominal(maker, slot));
    }
}

/* Fuse, lamp or diode: closed, or open. */
static void add_wire(diagnose_maker *maker) {
    if (maker->stress.sort == SORT_FUSE && diagnose_catalogue_in_primary(maker))
        diagnose_catalogue_dead(maker, DIAGNOSE_OPEN, 0);
    else
        set_only(maker, DIAGNOSE_OPEN, 0, diagnose_maker_slot(maker, SOLVE_OHMS, 0), OPEN_OHMS);
}

static void add_mains(diagnose_maker *maker) {
    maker->part = -1;
    maker->stress = (diagnose_stress){.sort = SORT_MAINS, .volts = NAN};
    int slot = diagnose_maker_slot(maker, SOLVE_MAINS, 0);
    static const double sides[2][2] = {{0.92, 0.72}, {1.08, 1.22}};
    for (int side = 0; slot >= 0 && side < 2; side++) {
        diagnose_fault *off = diagnose_maker_add(maker, DIAGNOSE_MAINS_OFF, side);
        diagnose_fault_grid(off, side == 0 ? 4 : 3, sides[side][0], sides[side][1]);
        diagnose_fault_follows(off, slot, nominal(maker, slot));
        if (off) off->prior /= 2;
    }
}

/* ---- all of them --------------------------------------------------------------------------- */

static bool rectifies(const circuit *amp, int tube) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.tube == tube) return true;
    }
    return false;
}

diagnose_sort diagnose_sort_of(const circuit *amp, int index) {
    if (index < 0) return SORT_MAINS;
    static const int sorts[CIRCUIT_KINDS] = {
        [CIRCUIT_RESISTOR] = SORT_RESISTOR, [CIRCUIT_CAPACITOR] = SORT_CAPACITOR,
        [CIRCUIT_POT] = SORT_POT,           [CIRCUIT_SWITCH] = SORT_SWITCH,
        [CIRCUIT_JACK] = SORT_JACK,         [CIRCUIT_INDUCTOR] = SORT_INDUCTOR,
        [CIRCUIT_DIODE] = SORT_DIODE,       [CIRCUIT_FUSE] = SORT_FUSE,
        [CIRCUIT_LAMP] = SORT_LAMP,         [CIRCUIT_TUBE] = SORT_TUBE,
        [CIRCUIT_WINDING] = SORT_WINDING,   [CIRCUIT_RECTIFIER] = SORT_RECTIFIER,
        [CIRCUIT_SPEAKER] = SORT_SPEAKER,   [CIRCUIT_OUTPUT_TRANSFORMER] = SORT_OUTPUT_TRANSFORMER,
    };
    int sort = sorts[circuit_part_at(amp, (size_t)index)->kind];
    return sort == SORT_TUBE && rectifies(amp, index) ? SORT_RECTIFIER_TUBE : (diagnose_sort)sort;
}

static void add_part(diagnose_maker *maker) {
    switch (maker->stress.sort) {
    case SORT_RESISTOR:
        add_resistor(maker);
        break;
    case SORT_CAPACITOR:
        add_capacitor(maker);
        break;
    case SORT_POT:
        add_pot(maker);
        break;
    case SORT_SWITCH:
    case SORT_JACK:
        add_contacts(maker);
        break;
    case SORT_INDUCTOR:
        add_inductor(maker);
        break;
    case SORT_DIODE:
    case SORT_FUSE:
    case SORT_LAMP:
    case SORT_SPEAKER:
        add_wire(maker);
        break;
    case SORT_TUBE:
    case SORT_RECTIFIER_TUBE:
        diagnose_catalogue_tube(maker, maker->stress.sort == SORT_RECTIFIER_TUBE);
        break;
    case SORT_WINDING:
        diagnose_catalogue_winding(maker);
        break;
    case SORT_RECTIFIER:
        diagnose_catalogue_rectifier(maker);
        break;
    case SORT_OUTPUT_TRANSFORMER:
        add_output_transformer(maker);
        break;
    default:
        break;
    }
}

/* Scales the priors so that all faults, nothing and something not modelled sum to 1. */
static void normalise(diagnose_catalogue *catalogue, const diagnose_options *options) {
    double sum = 0, left = 1 - options->nothing - options->unmodelled;
    for (size_t i = 2; i < catalogue->count; i++)
        sum += catalogue->fault[i].prior;
    for (size_t i = 2; i < catalogue->count && sum > 0; i++)
        catalogue->fault[i].prior *= left / sum;
}

/* [0] nothing wrong, [1] something not modelled, of several sizes. */
static void add_ends(diagnose_catalogue *catalogue, const diagnose_options *options) {
    catalogue->fault[0] = (diagnose_fault){
        .mode = DIAGNOSE_NOTHING, .part = -1, .prior = options->nothing, .severities = 1};
    catalogue->fault[1] = (diagnose_fault){
        .mode = DIAGNOSE_UNMODELLED, .part = -1, .prior = options->unmodelled, .severities = 1};
    for (int i = 0; i < 2; i++) {
        catalogue->fault[i].weight[0] = 1;
        catalogue->fault[i].severity[0] = NAN;
    }
    catalogue->count = 2;
}

bool diagnose_catalogue_make(const diagnose_bench *bench, const diagnose_priors *priors,
                             const diagnose_options *options, base_arena *arena,
                             diagnose_catalogue *catalogue) {
    size_t parts = circuit_parts(bench->amp);
    *catalogue = (diagnose_catalogue){.room = ROOM_PER_PART * parts + 4};
    catalogue->fault = base_arena_take(arena, catalogue->room, sizeof *catalogue->fault);
    if (!catalogue->fault) return false;
    add_ends(catalogue, options);
    if (!options->faults) return true;
    diagnose_maker maker = {.bench = bench, .priors = priors, .catalogue = catalogue};
    for (size_t i = 0; i < parts; i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        maker.part = (int)i;
        maker.stress =
            (diagnose_stress){.sort = diagnose_sort_of(bench->amp, (int)i), .part = part};
        maker.stress.volts = diagnose_bench_volts(bench, part->end[0], part->end[1], NULL);
        add_part(&maker);
    }
    add_mains(&maker);
    normalise(catalogue, options);
    return true;
}
