/* The plots of a start: volts of the filter capacitors, current in the rectifier and the mains. */
#include "powerup_impl.h"

static int lines_of(const follower *f) {
    int lines = 0;
    while (f->line[lines] >= 0)
        lines++;
    return lines;
}

/* Each filter node; then, where `currents`, the first rectifier's and the mains lead's. */
static bool make_plot(follower *f, service_plot *plot, size_t points, bool currents) {
    base_arena *arena = f->out->arena;
    int lines = lines_of(f);
    plot->lines = (size_t)lines + (currents ? 2 : 0);
    plot->points = points;
    plot->seconds = base_arena_take(arena, points, sizeof(double));
    plot->line = base_arena_take(arena, plot->lines + 1, sizeof *plot->line);
    if (!plot->seconds || !plot->line) return false;
    for (size_t i = 0; i < plot->lines; i++) {
        service_plot_line *line = &plot->line[i];
        bool volts = i<(size_t)lines, mains = i>(size_t) lines;
        line->unit = volts ? "V" : "A";
        line->name = volts   ? circuit_node_at(f->amp, (size_t)f->line[i])->name
                     : mains ? "mains"
                             : f->out->rectifier[0].name;
        line->low = base_arena_take(arena, points, sizeof(double));
        line->high = base_arena_take(arena, points, sizeof(double));
        if (!line->low || !line->high) return false;
        for (size_t k = 0; k < points; k++)
            line->low[k] = line->high[k] = NAN;
    }
    return true;
}

bool powerup_plots(follower *f) {
    return make_plot(f, &f->out->start, 240, true) && make_plot(f, &f->out->whole, 300, false) &&
           make_plot(f, &f->out->rest, 2 * FINE_PER_CYCLE, true);
}

static double value_of(const follower *f, size_t index) {
    size_t volts = (size_t)lines_of(f);
    if (index < volts) return solve_run_volts(f->run, f->line[index]);
    solve_mains mains = solve_run_mains(f->run);
    if (index > volts) return mains.rectifier_a + mains.heater_a;
    return powerup_amperes(f, 0, NULL);
}

static void draw_in(follower *f, service_plot *plot, double from, double to) {
    double seconds = solve_run_seconds(f->run), part = (seconds - from) / (to - from);
    if (!(part > 0) || part > 1) return;
    size_t point = (size_t)(part * (double)plot->points - 1e-6);
    plot->seconds[point] = seconds;
    for (size_t i = 0; i < plot->lines; i++) {
        service_plot_line *line = &plot->line[i];
        double value = value_of(f, i);
        line->low[point] = fmin(line->low[point], value);
        line->high[point] = fmax(line->high[point], value);
    }
}

/* Drops the points into which no look fell. */
static void squeeze(service_plot *plot) {
    size_t kept = 0;
    for (size_t k = 0; k < plot->points; k++) {
        if (!(plot->seconds[k] > 0)) continue;
        plot->seconds[kept] = plot->seconds[k];
        for (size_t i = 0; i < plot->lines; i++) {
            plot->line[i].low[kept] = plot->line[i].low[k];
            plot->line[i].high[kept] = plot->line[i].high[k];
        }
        kept++;
    }
    plot->points = kept;
}

void powerup_plots_end(follower *f) {
    squeeze(&f->out->start);
    squeeze(&f->out->whole);
    squeeze(&f->out->rest);
}

void powerup_draw(follower *f) {
    const service_powerup *out = f->out;
    draw_in(f, &f->out->start, 0, START_S);
    draw_in(f, &f->out->whole, 0, out->off_s);
    draw_in(f, &f->out->rest, out->on_s - 2 / f->hertz, out->on_s);
}
