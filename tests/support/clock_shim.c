/* Moves the wall clock of one process, as if its machine's clock had been set. Monotonic time is left alone.
 *
 * The file named by CLOCK_SHIFT_FILE holds how many milliseconds wall time is moved by; it is read at each look.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static long long shift_ms(void) {
    const char *path = getenv("CLOCK_SHIFT_FILE");
    char text[32] = {0};
    int file = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (file < 0)
        return 0;
    if (read(file, text, sizeof text - 1) < 0)
        text[0] = 0;
    close(file);
    return atoll(text);
}

static int real_clock(clockid_t which, struct timespec *at) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real)
        real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    return real(which, at);
}

int clock_gettime(clockid_t which, struct timespec *at) {
    int failed = real_clock(which, at);
    if (!failed && (which == CLOCK_REALTIME || which == CLOCK_REALTIME_COARSE)) {
        long long ms = shift_ms();
        long long ns = at->tv_nsec + (ms % 1000) * 1000000LL;
        at->tv_sec += ms / 1000 + (ns >= 1000000000LL) - (ns < 0);
        at->tv_nsec = (ns + 1000000000LL) % 1000000000LL;
    }
    return failed;
}

int gettimeofday(struct timeval *restrict at, void *restrict zone) {
    struct timespec now;
    (void)zone;
    if (clock_gettime(CLOCK_REALTIME, &now))
        return -1;
    at->tv_sec = now.tv_sec;
    at->tv_usec = now.tv_nsec / 1000;
    return 0;
}

time_t time(time_t *at) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (at)
        *at = now.tv_sec;
    return now.tv_sec;
}
