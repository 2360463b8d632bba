/* xoshiro256++ 1.0 (Blackman and Vigna 2019) and splitmix64 (Steele, Lea and Flood 2014). */
#include "base.h"

#include <math.h>

static uint64_t splitmix(uint64_t *state) {
    uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static uint64_t rotate_left(uint64_t x, int by) {
    return (x << by) | (x >> (64 - by));
}

void base_random_seed(base_random *random, uint64_t seed) {
    for (int i = 0; i < 4; i++)
        random->s[i] = splitmix(&seed);
}

uint64_t base_random_bits(base_random *random) {
    uint64_t *s = random->s;
    uint64_t result = rotate_left(s[0] + s[3], 23) + s[0];
    uint64_t shifted = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= shifted;
    s[3] = rotate_left(s[3], 45);
    return result;
}

double base_random_unit(base_random *random) {
    return (double)(base_random_bits(random) >> 11) * 0x1p-53;
}

/* Box and Muller (1958), one of the pair: no state beyond the generator's. */
double base_random_normal(base_random *random) {
    double radius = sqrt(-2 * log(1 - base_random_unit(random)));
    double angle = 2 * M_PI * base_random_unit(random);
    return radius * cos(angle);
}
