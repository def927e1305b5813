/* The season's computation as a plain loop with the C library's exp: the floor the others are measured against.
   `floor csv FOLDER` knows the one form in which the benchmark writes its file; `floor columns FOLDER` goes through
   the same readings as single floats, its clock running from when they are in memory. Prints one check line. */
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { ROWS_A_DAY = 1440, MOST_DAYS = 8000 };

struct day {
    long readings, hot, dry;
    double low, high, degrees, deficits;
};

static struct day days[MOST_DAYS];
static int count;

static double clock_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec + now.tv_nsec * 1e-9;
}

static struct day *next_day(void) {
    if (count == MOST_DAYS) { fputs("too many days\n", stderr); exit(1); }
    days[count] = (struct day){.low = INFINITY, .high = -INFINITY};
    return &days[count++];
}

static void take(struct day *day, double t, double rh) {
    double deficit = 0.6108 * exp(17.27 * t / (t + 237.3)) * (1 - rh * 0.01);
    double held = t < 10 ? 10 : t > 30 ? 30 : t;
    day->readings++;
    if (t < day->low) day->low = t;
    if (t > day->high) day->high = t;
    day->degrees += held - 10;
    day->hot += t > 32;
    day->dry += deficit > 2.5;
    day->deficits += deficit;
}

static int opened(const char *folder, const char *name, size_t *size) {
    char path[4096];
    struct stat about;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    int file = open(path, O_RDONLY);
    if (file < 0 || fstat(file, &about)) { perror(path); exit(1); }
    *size = about.st_size;
    return file;
}

static float *column(const char *folder, const char *name, size_t *rows) {
    size_t size, got = 0;
    int file = opened(folder, name, &size);
    char *bytes = malloc(size);
    while (got < size) {
        ssize_t more = read(file, bytes + got, size - got);
        if (more <= 0) { perror(name); exit(1); }
        got += more;
    }
    close(file);
    *rows = size / sizeof(float);
    return (float *)bytes;
}

static void by_columns(const float *air, const float *humidity, size_t rows) {
    for (size_t from = 0; from < rows; from += ROWS_A_DAY) {
        struct day *day = next_day();
        for (size_t at = from; at < from + ROWS_A_DAY; at++)
            if (air[at] == air[at]) take(day, air[at], humidity[at]);
    }
}

/* A number with so many decimals, as a whole number; leaves the place behind the sign after it. */
static long digits(const char **at) {
    const char *sign = *at;
    long value = 0;
    int below = *sign == '-';
    for (sign += below; *sign != ',' && *sign != '\n'; sign++)
        if (*sign != '.') value = value * 10 + (*sign - '0');
    *at = sign + 1;
    return below ? -value : value;
}

static void by_csv(const char *folder) {
    size_t size;
    int file = opened(folder, "season.csv", &size);
    const char *text = mmap(0, size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, file, 0);
    if (text == MAP_FAILED) { perror("season.csv"); exit(1); }
    const char *at = (const char *)memchr(text, '\n', size) + 1, *date = 0;
    struct day *day = 0;
    while (at < text + size) {
        if (!date || memcmp(date, at, 10)) { date = at; day = next_day(); }
        at += sizeof "2015-01-01T00:00:00Z,";
        at--;
        if (*at == ',') { at += 2; continue; }
        double t = digits(&at) * 0.01;
        take(day, t, digits(&at) * 0.1);
    }
}

static long peak_kib(void) {
    char line[256];
    long kib = 0;
    FILE *status = fopen("/proc/self/status", "r");
    while (status && fgets(line, sizeof line, status)) sscanf(line, "VmHWM: %ld", &kib);
    return kib;
}

int main(int argc, char **argv) {
    if (argc != 3) return 2;
    double began = clock_s();
    if (!strcmp(argv[1], "csv")) {
        by_csv(argv[2]);
    } else {
        size_t rows, others;
        float *air = column(argv[2], "air.f32", &rows), *humidity = column(argv[2], "humidity.f32", &others);
        if (rows != others || rows % ROWS_A_DAY) return 1;
        began = clock_s();
        by_columns(air, humidity, rows);
    }
    double seconds = clock_s() - began;
    struct day all = {0};
    for (int i = 0; i < count; i++) {
        all.readings += days[i].readings, all.hot += days[i].hot, all.dry += days[i].dry;
        all.low += days[i].low, all.high += days[i].high;
        all.degrees += days[i].degrees, all.deficits += days[i].deficits;
    }
    printf("check days=%d rows=%ld low=%.6f high=%.6f degree_days=%.6f hours_above=%.6f deficit_hours=%.6f "
           "mean_vpd=%.9f seconds=%.6f peak_kib=%ld\n",
           count, all.readings, all.low, all.high, all.degrees / ROWS_A_DAY, all.hot / 60.0, all.dry / 60.0,
           all.deficits / all.readings, seconds, peak_kib());
    return 0;
}
