/* The practice amp on the bench, as hands find it: what stands at the probe at a moment. */
#include "practice_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define WARM_S 2.0     /* until the supply comes up, and its time constant. Shortened: */
#define RISE_S 0.8     /* nobody learns anything from waiting a minute */
#define LOAD_S 0.15    /* until a place has given way to the meter */
#define BLEED_S 40.0   /* time constant of capacitors left alone */
#define SOAK_PART 0.03 /* of what they held comes back after a short drain */
#define SOAK_S 15.0
#define WANDER 0.002 /* of the mains, in half a minute or so */
#define LIMIT_V 60.0 /* ES1 of IEC 62368-1 */
#define METER_OHMS 10e6

typedef struct held { /* the volts at the probe now, in the amp that runs */
    double loaded, open;
    bool heater;
} held;

struct practice {
    pthread_mutex_t lock;
    practice_amp amp;
    diagnose_engine *engine;
    bool borrowed; /* the engine is */
    practice_now now;
    solve_probe probe;
    held held;
    double probed_s, switched_s; /* since when */
    double level;                /* of the supply then, 0 to 1 */
    double soaked;               /* part that can come back */
    double drain_s;              /* time constant through the drain resistor */
    double highest_v;            /* of the filter capacitors */
    bool measured_low;           /* below the limit was read since it was switched off */
    bool was_high, was_heater;   /* where the probe was before */
    const diagnose_fault *fault[PRACTICE_FAULTS]; /* at the beginning */
    int severity[PRACTICE_FAULTS];
    size_t hidden;
    char part[PRACTICE_FAULTS][PRACTICE_AT], what[PRACTICE_FAULTS][96];
    bool found[PRACTICE_FAULTS];
};

/* ---- making one ---------------------------------------------------------------------------- */

static void note_hidden(practice *practice) {
    const practice_amp *amp = &practice->amp;
    practice->hidden = amp->faults;
    for (size_t i = 0; i < amp->faults; i++) {
        practice->fault[i] = amp->fault[i];
        practice->severity[i] = amp->severity[i];
        snprintf(practice->part[i], PRACTICE_AT, "%s", practice_part_name(amp, amp->fault[i]));
        practice_what(amp, i, practice->what[i], sizeof practice->what[i]);
    }
}

static double volts_at_most(practice *practice) {
    double most = 0;
    for (size_t i = 0; i < diagnose_places(practice->engine); i++)
        most = fmax(most, fabs(diagnose_place_at(practice->engine, i)->healthy));
    return most;
}

static bool open(practice *practice, const practice_options *options, base_errors *errors) {
    diagnose_options defaults = diagnose_defaults();
    if (!practice->engine)
        practice->engine = diagnose_engine_new(options->system, options->priors, &defaults, errors);
    if (!practice->engine || !practice_amp_open(&practice->amp, options->system, practice->engine,
                                                options->seed, errors))
        return false;
    if (!practice_hide(&practice->amp, (size_t)options->faults)) {
        base_errors_add(errors, BASE_UNSOLVED, (base_place){0},
                        "no fault was found that shows in this amp|try another --seed");
        return false;
    }
    note_hidden(practice);
    practice->highest_v = volts_at_most(practice);
    practice->drain_s = 1.2 + 1.2 * base_random_unit(&practice->amp.random);
    return true;
}

practice *practice_new(const practice_options *options, base_errors *errors) {
    practice *practice = calloc(1, sizeof *practice);
    if (!practice) {
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left for the practice bench|close other programs");
        return NULL;
    }
    practice->engine = options->engine;
    practice->borrowed = options->engine != NULL;
    pthread_mutex_init(&practice->lock, NULL);
    practice->switched_s = practice->probed_s = meter_ticks() - 1000;
    if (options->faults >= 1 && options->faults <= PRACTICE_FAULTS &&
        open(practice, options, errors))
        return practice;
    if (base_errors_worst(errors) == BASE_OK)
        base_errors_add(errors, BASE_VALUE, (base_place){0},
                        "so many faults cannot be hidden|give --faults 1 or 2");
    practice_free(practice);
    return NULL;
}

const solve_system *practice_system(const practice *practice) {
    return practice->amp.system;
}

bool practice_hidden_get(const practice *practice, size_t index, practice_hidden *hidden) {
    if (index >= practice->hidden) return false;
    memcpy(hidden->part, practice->part[index], sizeof hidden->part);
    memcpy(hidden->what, practice->what[index], sizeof hidden->what);
    hidden->index = practice->fault[index]->part;
    return true;
}

void practice_free(practice *practice) {
    if (!practice) return;
    practice_amp_close(&practice->amp);
    if (!practice->borrowed) diagnose_engine_free(practice->engine);
    pthread_mutex_destroy(&practice->lock);
    free(practice);
}

/* ---- what stands there --------------------------------------------------------------------- */

/* The supply's level at `s`: up when on; down through the bleed or the drain resistor; back up a
 * little after a drain that was too short. */
static double level_at(const practice *practice, double s) {
    double passed = fmax(0, s - practice->switched_s);
    if (practice->now.on) {
        double warm = passed < WARM_S ? 0 : 1 - exp(-(passed - WARM_S) / RISE_S);
        return practice->level * exp(-passed / BLEED_S) * (1 - warm) + warm;
    }
    double tau = practice->now.clipped ? practice->drain_s : BLEED_S;
    double left = practice->level * exp(-passed / tau);
    return practice->now.clipped ? left : left + practice->soaked * (1 - exp(-passed / SOAK_S));
}

double practice_volts(void *context, double s, bool ac) {
    practice *practice = context;
    double volts = NAN;
    pthread_mutex_lock(&practice->lock);
    if (*practice->now.at) {
        const held *held = &practice->held;
        double load = exp(-fmax(0, s - practice->probed_s) / LOAD_S);
        double there = held->loaded + (held->open - held->loaded) * load;
        double wander = 1 + WANDER * sin(0.21 * s) + 0.5 * WANDER * sin(0.047 * s + 1);
        bool fits = held->heater == ac;
        double level = held->heater ? practice->now.on : level_at(practice, s);
        volts = fits ? there * wander * level : 0;
    }
    pthread_mutex_unlock(&practice->lock);
    return volts;
}

/* ---- hands --------------------------------------------------------------------------------- */

static void risk(practice *practice, const char *words) {
    practice_now *now = &practice->now;
    if (now->risky < PRACTICE_LIST)
        snprintf(now->risk[now->risky], sizeof now->risk[0], "%s", words);
    if (now->risky < PRACTICE_LIST) now->risky++;
}

static void look(practice *practice) {
    practice->held.loaded = practice_read(&practice->amp, &practice->probe, &practice->held.open);
    practice->held.heater = practice->probe.heater;
}

static void judge_move(practice *practice) {
    double volts = fabs(practice->held.open);
    bool high = !practice->held.heater && volts >= LIMIT_V, heater = practice->held.heater;
    if (practice->now.on && ((practice->was_high && heater) || (practice->was_heater && high)))
        risk(practice, "The probe went between high voltage and heater pins with the amp on: say "
                       "so to yourself first, and count the pins again.");
    practice->was_high = high;
    practice->was_heater = heater;
}

static base_code find_probe(practice *practice, const char *at, solve_probe *probe,
                            base_errors *errors) {
    if (strlen(at) >= PRACTICE_AT)
        return base_errors_add(errors, BASE_UNKNOWN, (base_place){0},
                               "there is no place of that name|write it as V2.3, B1, R7");
    base_code code = diagnose_probe_read(practice->amp.system, at, (base_place){0}, probe, errors);
    probe->meter_ohms = METER_OHMS;
    return code;
}

base_code practice_probe(practice *practice, const char *at, double s, base_errors *errors) {
    solve_probe probe = {0};
    base_code code = at ? find_probe(practice, at, &probe, errors) : BASE_OK;
    if (code != BASE_OK) return code;
    pthread_mutex_lock(&practice->lock);
    snprintf(practice->now.at, PRACTICE_AT, "%s", at ? at : "");
    practice->probed_s = s;
    practice->probe = probe;
    if (at) {
        look(practice);
        judge_move(practice);
    }
    pthread_mutex_unlock(&practice->lock);
    return BASE_OK;
}

/* From here on time counts anew. */
static void hold_level(practice *practice, double s) {
    practice->level = level_at(practice, s);
    practice->switched_s = s;
}

void practice_power(practice *practice, bool on, double s) {
    pthread_mutex_lock(&practice->lock);
    if (on != practice->now.on) {
        hold_level(practice, s);
        if (on && practice->now.clipped)
            risk(practice, "The amp was switched on with the drain resistor still clipped on.");
        if (on) practice->soaked = SOAK_PART;
        practice->now.on = on;
        practice->measured_low = false;
    }
    pthread_mutex_unlock(&practice->lock);
}

void practice_drain(practice *practice, bool clipped, double s) {
    pthread_mutex_lock(&practice->lock);
    if (clipped != practice->now.clipped) {
        hold_level(practice, s);
        if (clipped && practice->now.on)
            risk(practice, "The drain resistor was clipped on with the amp switched on.");
        practice->now.clipped = clipped;
    }
    pthread_mutex_unlock(&practice->lock);
}

static void judge_hands(practice *practice) {
    if (practice->now.on)
        risk(practice, "A part was changed with the amp switched on.");
    else if (practice->highest_v >= LIMIT_V && !practice->measured_low)
        risk(practice, "A part was changed before the capacitors had been measured below 60 V.");
}

static void replace(practice *practice, int part, const char *name) {
    practice_now *now = &practice->now;
    bool was_it = practice_heal(&practice->amp, part);
    for (size_t i = 0; was_it && i < practice->hidden; i++)
        practice->found[i] |= strcasecmp(practice->part[i], name) == 0;
    if (now->replaced < PRACTICE_LIST) {
        snprintf(now->part[now->replaced], PRACTICE_AT, "%s", name);
        now->was_it[now->replaced++] = was_it;
    }
    now->wrong += !was_it;
    now->over = practice->amp.faults == 0;
    if (was_it) practice_solve(&practice->amp);
    if (*now->at) look(practice);
}

base_code practice_replace(practice *practice, const char *name, double s, base_errors *errors) {
    const circuit *amp = solve_circuit(practice->amp.system);
    int part = circuit_part_find(amp, name);
    if (part < 0)
        return base_errors_add(errors, BASE_UNKNOWN, (base_place){0},
                               "there is no part `%.40s` in this amp|write it as the drawing does",
                               name);
    pthread_mutex_lock(&practice->lock);
    judge_hands(practice);
    hold_level(practice, s);
    replace(practice, part, circuit_part_at(amp, (size_t)part)->name);
    pthread_mutex_unlock(&practice->lock);
    return BASE_OK;
}

void practice_took(practice *practice, double volts, bool drain) {
    pthread_mutex_lock(&practice->lock);
    practice->now.readings += !drain;
    if (!practice->now.on && fabs(volts) < LIMIT_V) practice->measured_low = true;
    pthread_mutex_unlock(&practice->lock);
}

void practice_get(practice *practice, practice_now *now) {
    pthread_mutex_lock(&practice->lock);
    *now = practice->now;
    pthread_mutex_unlock(&practice->lock);
}

/* ---- the end ------------------------------------------------------------------------------- */

static void write_score(const practice *practice, practice_score *score) {
    score->faults = practice->hidden;
    score->readings = practice->now.readings;
    score->now = practice->now;
    for (size_t i = 0; i < practice->hidden; i++) {
        memcpy(score->fault[i].part, practice->part[i], PRACTICE_AT);
        memcpy(score->fault[i].what, practice->what[i], sizeof practice->what[i]);
        score->fault[i].found = practice->found[i];
    }
}

/* The faults as they were, in an amp of its own, so that the bench goes on as it is. */
static int fewest(const practice *practice, base_errors *errors) {
    practice_amp again;
    int found = -1;
    if (practice_amp_open(&again, practice->amp.system, practice->engine, 0, errors)) {
        memcpy(again.good, practice->amp.good, solve_slots(again.system) * sizeof(double));
        again.faults = practice->hidden;
        memcpy(again.fault, practice->fault, sizeof again.fault);
        memcpy(again.severity, practice->severity, sizeof again.severity);
        found = practice_fewest(&again);
    }
    practice_amp_close(&again);
    return found;
}

base_code practice_finish(practice *practice, practice_score *score, base_errors *errors) {
    *score = (practice_score){.fewest = -1};
    pthread_mutex_lock(&practice->lock);
    practice->now.over = true;
    write_score(practice, score);
    pthread_mutex_unlock(&practice->lock);
    score->fewest = fewest(practice, errors);
    return base_errors_worst(errors);
}
