/* A disk under a change of the configuration: preloaded into the daemon by tests/suite/page/setup_faults.rs.
 *
 * $SETUP_FAULT names a file; while it is there, its word says what happens:
 *
 *   full     a write to anything but the journal and the logs has ENOSPC
 *   N        the daemon is killed before its Nth sync of a file or folder from then on
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static atomic_int syncs;

static int word(char *text, size_t most) {
    const char *path = getenv("SETUP_FAULT");
    int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (fd < 0) return 0;
    ssize_t length = read(fd, text, most - 1);
    close(fd);
    text[length > 0 ? length : 0] = 0;
    return length > 0;
}

static int is_of_the_configuration(int fd) {
    struct stat found;
    char link[64], path[4096];
    if (fstat(fd, &found) || !S_ISREG(found.st_mode)) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return !strstr(path, "/state/") && !strstr(path, "messages");
}

ssize_t write(int fd, const void *bytes, size_t count) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    char text[16];
    if (word(text, sizeof text) && !strcmp(text, "full") && is_of_the_configuration(fd)) {
        errno = ENOSPC;
        return -1;
    }
    return real(fd, bytes, count);
}

static void count(void) {
    char text[16];
    if (!word(text, sizeof text)) return;
    int at = atoi(text);
    if (at > 0 && atomic_fetch_add(&syncs, 1) + 1 == at) kill(getpid(), SIGKILL);
}

int fsync(int fd) {
    static int (*real)(int);
    if (!real) real = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    count();
    return real(fd);
}

int fdatasync(int fd) {
    static int (*real)(int);
    if (!real) real = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    count();
    return real(fd);
}
