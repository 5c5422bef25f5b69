/* A wall clock that is set when told to: preloaded into the daemon by tests/scripts/production_day.py.
 *
 * $CLOCK_SET names a file with the seconds by which the clock is ahead, perhaps negative; without it the clock is right.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

int clock_gettime(clockid_t clock, struct timespec *now) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real) real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int failed = real(clock, now);
    const char *path = getenv("CLOCK_SET");
    if (failed || clock != CLOCK_REALTIME || !path) return failed;
    char text[32] = "";
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0) return 0;
    if (read(file, text, sizeof text - 1) > 0) now->tv_sec += atol(text);
    close(file);
    return 0;
}
