/* Symptoms and findings against the hypotheses: the chance that each would be told. */
#include "symptoms_impl.h"

#include <math.h>

#define HEARD 0.5     /* of a logarithm: how sharply a difference in loudness is noticed */
#define SEEN 0.25     /* the same of a glow */
#define TOUCHED 0.7   /* of the volts across a control */
#define COUNTED 0.12  /* of a tremolo's speed, counted and as the small swing tells it */
#define OCTAVES 4.6   /* ln of the range of speeds that a wrong count may give */
#define HARDLY 0.3    /* of a good amp's growth, as an error of the model */
#define UNHEARD 3.0   /* times less that reaches the output tubes, which is not heard any more */
#define ANYTHING 0.3  /* where a point has no answer */
#define NO_VOLTS 1e-4 /* V */
#define TEST_HERTZ 1000.0
#define TEST_VOLTS 0.02

struct diagnose_told { /* one clue, made ready */
    const diagnose_clue *clue;
    int sign;
    bool mute;          /* it says nothing of this amp */
    diagnose_test test; /* of what it follows from */
    solve_probe probe;
    diagnose_ask ask;      /* hum and signal */
    diagnose_scene *scene; /* state, swing */
    double healthy;        /* what is computed there for a good amp */
    double settled;        /* of the tremolo: its lasting speed beside that of the small swing */
};

static double below(double x) {
    return 0.5 * erfc(-x * M_SQRT1_2);
}

/* ---- making ready -----------------------------------------------------------------------------
 */

static bool across_speaker(const diagnose_engine *engine, solve_probe *probe) {
    const circuit *amp = engine->bench.amp;
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        *probe = (solve_probe){part->end[0], part->end[1], false, INFINITY};
        if (part->kind == CIRCUIT_SPEAKER && solve_probe_exists(engine->bench.system, probe))
            return true;
    }
    return false;
}

/* An ask at the speaker. false: the amp has none, or no input. */
static bool open_speaker(diagnose_run_state *run, diagnose_told *told) {
    diagnose_engine *engine = run->engine;
    int jack = diagnose_first_input(engine->bench.amp);
    if (!across_speaker(engine, &told->probe)) return false;
    told->test = (diagnose_test){.quantity = DIAGNOSE_HUM, .input = -1, .slot = -1};
    if (told->sign == SIGN_SIGNAL &&
        (jack < 0 ||
         !diagnose_test_signal(engine->bench.system, jack, TEST_HERTZ, TEST_VOLTS, &told->test)))
        return false;
    if (!diagnose_ask_open(engine, &told->test, &told->probe, run->arena, &told->ask)) return false;
    told->healthy = told->ask.healthy;
    return true;
}

static bool open_scene(diagnose_run_state *run, diagnose_told *told, diagnose_quantity quantity) {
    told->test = (diagnose_test){.quantity = quantity, .input = -1, .slot = -1};
    return diagnose_scene_find(run->engine, &told->test, &told->probe, &told->scene) &&
           diagnose_scene_field(run->engine, told->scene, &run->engine->point[0]);
}

static bool open_tremolo(diagnose_run_state *run, diagnose_told *told) {
    solve_tremolo tremolo;
    if (!diagnose_tremolo_of(run->engine, &tremolo) || tremolo.part < 0 || !tremolo.swing.swings)
        return false;
    if (!open_scene(run, told, DIAGNOSE_SWING)) return false;
    const double *field = diagnose_scene_field(run->engine, told->scene, &run->engine->point[0]);
    told->settled = field[1] > 0 ? tremolo.swing.hertz / field[1] : 1;
    return field[0] > 0;
}

static bool open_one(diagnose_run_state *run, diagnose_told *told) {
    switch (told->sign) {
    case SIGN_HUM:
    case SIGN_SIGNAL:
        return open_speaker(run, told);
    case SIGN_TREMOLO:
    case SIGN_SPEED:
        return open_tremolo(run, told);
    case SIGN_SLOW:
        return open_scene(run, told, DIAGNOSE_SWING);
    case SIGN_QUICK:
        return open_scene(run, told, DIAGNOSE_QUICK);
    case SIGN_HEATER:
    case SIGN_DISSIPATION:
    case SIGN_SUPPLY:
        return open_scene(run, told, DIAGNOSE_STATE);
    default:
        return true;
    }
}

static void warn_mute(const diagnose_told *told, base_errors *errors) {
    bool swings = told->sign == SIGN_TREMOLO || told->sign == SIGN_SPEED;
    base_errors_add(
        errors, BASE_SUSPICIOUS, told->clue->place, "\"%.60s\" is left out: %s|%s",
        told->clue->said,
        swings ? "the amp as drawn has no oscillator that swings at these controls: its "
                 "feedback has no way round, or not gain enough"
               : "the amp as drawn has no answer to it",
        swings ? "look at the tremolo's joints in the amp's file, or turn its controls up "
                 "there"
               : "look whether the file has its inputs and its speaker");
}

bool diagnose_clues_open(diagnose_run_state *run, base_errors *errors) {
    size_t count = run->readings ? run->readings->clues : 0;
    run->told = base_arena_take(run->arena, count + 1, sizeof *run->told);
    if (!run->told) return false;
    for (size_t i = 0; i < count; i++) {
        diagnose_told *told = &run->told[run->tolds++];
        told->clue = &run->readings->clue[i];
        told->sign = symptom_sign(told->clue->symptom);
        told->mute = !open_one(run, told);
        run->costly |= told->sign != SIGN_NONE && told->sign != SIGN_CONTROL;
        if (told->mute) warn_mute(told, errors);
    }
    return true;
}

/* ---- chances ----------------------------------------------------------------------------------
 */

static double tremolo_stopped(diagnose_run_state *run, const diagnose_told *told,
                              const double *field) {
    const double *good = diagnose_scene_field(run->engine, told->scene, &run->engine->point[0]);
    double stopped = below(-field[2] / (HARDLY * good[2]));
    if (!(field[0] > 0) || !(good[3] > 0)) return stopped;
    double unheard = below((log(good[3] / UNHEARD) - log(fmax(field[3], 1e-12))) / HEARD);
    return 1 - (1 - stopped) * (1 - unheard);
}

/* The chance of counting what was counted, within a tenth, where it swings. */
static double tremolo_counted(const diagnose_told *told, const double *field) {
    double width = 0.1, any = width / OCTAVES;
    if (!(field[0] > 0)) return told->clue->symptom->false_told * any;
    double off = (log(told->clue->hertz) - log(told->settled * field[1])) / COUNTED;
    double density = exp(-0.5 * off * off) / (COUNTED * sqrt(2 * M_PI));
    double missed = told->clue->symptom->missed;
    return (1 - missed) * density * width + missed * any;
}

/* The most that stands between any two ends of it. */
static double across_control(const diagnose_engine *engine, const diagnose_point *point, int part) {
    const circuit_part *pot = circuit_part_at(engine->bench.amp, (size_t)part);
    double most = 0;
    for (int a = 0; a < 3; a++)
        for (int b = a + 1; b < 3; b++) {
            solve_probe probe = {pot->end[a], pot->end[b], false, INFINITY};
            if (pot->end[a] < 0 || pot->end[b] < 0 || pot->end[a] == pot->end[b]) continue;
            if (!solve_probe_exists(engine->bench.system, &probe)) continue;
            most = fmax(most, fabs(diagnose_bare(engine, point, &probe)));
        }
    return most;
}

static double from_state(const diagnose_run_state *run, const diagnose_told *told,
                         const double *field) {
    const double *good = diagnose_scene_field(run->engine, told->scene, &run->engine->point[0]);
    double limit = told->clue->symptom->limit;
    const double *tube =
        told->clue->part < 0 ? NULL : field + diagnose_state_of(run->engine, told->clue->part);
    if (told->sign == SIGN_SUPPLY) return below(log(field[0] / (limit * good[0])) / SEEN);
    if (told->sign == SIGN_HEATER)
        return isnan(tube[0]) ? 0 : below(log(limit / fmax(tube[0], 1e-6)) / SEEN);
    return below(log(fmax(fmax(tube[1], tube[2]), 1e-6) / limit) / SEEN);
}

/* How likely what is computed at the point lies beyond the limit. */
static double beyond(diagnose_run_state *run, const diagnose_told *told, diagnose_point *point) {
    double limit = told->clue->symptom->limit;
    if (told->sign == SIGN_CONTROL) {
        double volts = across_control(run->engine, point, told->clue->part);
        return below(log((volts + NO_VOLTS) / limit) / TOUCHED);
    }
    if (told->sign == SIGN_HUM || told->sign == SIGN_SIGNAL) {
        double mean = diagnose_ask_mean(run->engine, &told->ask, point);
        double up = (mean - told->healthy - log(limit)) / HEARD;
        double down = (told->healthy - log(limit) - mean) / HEARD;
        return isfinite(mean) ? below(told->sign == SIGN_HUM ? up : down) : ANYTHING;
    }
    const double *field = diagnose_scene_field(run->engine, told->scene, point);
    if (!field) return ANYTHING;
    if (told->sign == SIGN_TREMOLO) return tremolo_stopped(run, told, field);
    const double *good = diagnose_scene_field(run->engine, told->scene, &run->engine->point[0]);
    if (told->sign == SIGN_SLOW) return field[4] > good[4];
    if (told->sign == SIGN_QUICK) return field[0] > good[0];
    return from_state(run, told, field);
}

static bool fits(const diagnose_engine *engine, const symptom_chance *chance,
                 const diagnose_clue *clue, const diagnose_fault *fault) {
    const circuit *amp = engine->bench.amp;
    if (fault->mode == DIAGNOSE_NOTHING) return false;
    if (chance->mode >= 0 && chance->mode != (int)fault->mode) return false;
    if (chance->sort >= 0 && (int)diagnose_sort_of(amp, fault->part) != chance->sort) return false;
    if (chance->kind >= 0 &&
        (fault->part < 0 ||
         (int)circuit_part_at(amp, (size_t)fault->part)->material != chance->kind))
        return false;
    if (chance->same_part && fault->part != clue->part) return false;
    return !chance->same_pin || fault->which == clue->pin;
}

static double from_chances(const diagnose_engine *engine, const diagnose_clue *clue,
                           const diagnose_fault *fault) {
    const diagnose_symptom *symptom = clue->symptom;
    for (size_t i = 0; i < symptom->chances; i++)
        if (fits(engine, &symptom->chance[i], clue, fault)) return symptom->chance[i].chance;
    return symptom->otherwise;
}

/* Two faults at once: either may bring it. But a repair that did not help speaks of each. */
static double of_two(double a, double b, double otherwise) {
    if (otherwise > 0.5) return a < b ? b : a;
    return 1 - (1 - a) * (1 - b) / (1 - otherwise);
}

double diagnose_told_chance(diagnose_run_state *run, const diagnose_told *told,
                            diagnose_point *point) {
    const diagnose_symptom *symptom = told->clue->symptom;
    double chance;
    if (told->mute) return 1;
    if (told->sign == SIGN_NONE) {
        const diagnose_fault *faults = run->engine->catalogue.fault;
        chance = from_chances(run->engine, told->clue, &faults[point->fault]);
        if (point->second)
            chance = of_two(chance, from_chances(run->engine, told->clue, &faults[point->second]),
                            symptom->otherwise);
    } else if (told->sign == SIGN_SPEED) {
        const double *field = diagnose_scene_field(run->engine, told->scene, point);
        return field ? tremolo_counted(told, field) : ANYTHING / OCTAVES / 10;
    } else {
        double told_false = symptom->false_told;
        chance = told_false + (1 - symptom->missed - told_false) * beyond(run, told, point);
    }
    return told->clue->absent ? 1 - chance : chance;
}

const diagnose_told *diagnose_told_at(const diagnose_run_state *run, size_t index) {
    return &run->told[index];
}

bool diagnose_told_mute(const diagnose_told *told) {
    return told->mute;
}

/* With something that is not modelled a symptom is told as often as over all faults; where it must
 * be worked out, between its extremes. */
static double chance_of_any(const diagnose_run_state *run, const diagnose_told *told) {
    const diagnose_catalogue *catalogue = &run->engine->catalogue;
    const diagnose_symptom *symptom = told->clue->symptom;
    double sum = 0, prior = 0;
    if (told->sign == SIGN_SPEED) return ANYTHING / OCTAVES / 10;
    if (told->sign != SIGN_NONE) return sqrt(symptom->false_told * (1 - symptom->missed));
    for (size_t f = 2; f < catalogue->count; f++) {
        const diagnose_fault *fault = &catalogue->fault[f];
        sum += fault->prior * from_chances(run->engine, told->clue, fault);
        prior += fault->prior;
    }
    return prior > 0 ? sum / prior : symptom->otherwise;
}

double diagnose_clues_weight(diagnose_run_state *run, diagnose_point *point, bool all) {
    double sum = 0;
    for (int i = 0; i < run->tolds; i++) {
        const diagnose_told *told = &run->told[i];
        bool cheap = told->sign == SIGN_NONE || told->sign == SIGN_CONTROL;
        if (told->mute || !(cheap || all)) continue;
        double any = point ? 0 : chance_of_any(run, told);
        double chance = point                ? diagnose_told_chance(run, told, point)
                        : told->clue->absent ? 1 - any
                                             : any;
        sum += log(chance);
    }
    return sum;
}
