/* What is made today: ratings are common practice with no source, values those of IEC 60063. */
#include "service_impl.h"

static double stock(const double *rising, size_t count, double need) {
    for (size_t i = 0; i < count; i++)
        if (rising[i] >= need * (1 - SERVICE_SAME)) return rising[i];
    return NAN;
}
#define STOCK(rising, need) stock((rising), sizeof(rising) / sizeof *(rising), (need))

double service_stock_watts(double need) {
    static const double made[] = {0.5, 1, 2, 3, 5, 7, 10, 15, 20, 25, SERVICE_MOST_WATTS};
    return STOCK(made, need);
}

double service_stock_volts(circuit_material material, double need) {
    static const double electrolytic[] = {25, 50, 63, 100, 160, 250, 350, 400, 450, 500};
    static const double film[] = {63, 100, 160, 250, 400, 630, 1000, 1600, 2000};
    static const double mica[] = {100, 300, 500, 1000, 2000};
    if (material == CIRCUIT_ELECTROLYTIC) return STOCK(electrolytic, need);
    bool small = material == CIRCUIT_MICA || material == CIRCUIT_CERAMIC;
    return small ? STOCK(mica, need) : STOCK(film, need);
}

void service_stock_beside(double value, int series, double beside[2]) {
    double step = pow(10, 1.0 / series), near = base_value_nearest(value, series);
    bool in = fabs(near - value) <= SERVICE_SAME * value;
    beside[0] = in || near < value ? near : base_value_nearest(near / step, series);
    beside[1] = in || near > value ? near : base_value_nearest(near * step, series);
}
