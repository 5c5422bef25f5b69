/* A disk that fails when told to: preloaded into the daemon by tests/suite/disk/faults.rs.
 *
 * $DISK_FAULT names a file that holds one word while a fault is wanted. It is looked at whenever a
 * segment of the journal is written or synced, and taken away once the fault has happened:
 *
 *   full     the write takes half of the bytes, the next one has ENOSPC
 *   broken   the write takes half of the bytes, the next one has EIO
 *   unsynced fdatasync has EIO; the bytes are in the file
 *   dropped  fdatasync has EIO; what was not synced is gone, as a kernel may drop it
 *   slow     fdatasync waits, with a file $DISK_FAULT.waits beside, until the word is taken away
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* Only the journal's one thread gets past is_segment(). */
static int next_write_fails_with;
static off_t synced_bytes;

static int is_segment(int fd) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 6) return 0;
    path[length] = 0;
    return strcmp(path + length - 6, ".jsonl") == 0 && strstr(path, "/journal/") != NULL;
}

static int wanted(const char *word) {
    char text[16] = "";
    const char *path = getenv("DISK_FAULT");
    int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (fd < 0) return 0;
    ssize_t length = read(fd, text, sizeof text - 1);
    close(fd);
    return length > 0 && strcmp(text, word) == 0;
}

static void taken(void) { unlink(getenv("DISK_FAULT")); }

ssize_t write(int fd, const void *bytes, size_t count) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    if (!is_segment(fd)) return real(fd, bytes, count);
    if (next_write_fails_with) {
        errno = next_write_fails_with;
        next_write_fails_with = 0;
        taken();
        return -1;
    }
    int full = wanted("full");
    if (!full && !wanted("broken")) return real(fd, bytes, count);
    next_write_fails_with = full ? ENOSPC : EIO;
    return real(fd, bytes, count / 2);
}

static void remember_length(int fd) {
    struct stat status;
    if (fstat(fd, &status) == 0) synced_bytes = status.st_size;
}

static void wait_while_slow(void) {
    char waits[4096];
    snprintf(waits, sizeof waits, "%s.waits", getenv("DISK_FAULT"));
    close(open(waits, O_CREAT | O_WRONLY | O_CLOEXEC, 0600));
    while (wanted("slow")) nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
    unlink(waits);
}

int fdatasync(int fd) {
    static int (*real)(int);
    if (!real) real = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    if (!is_segment(fd)) return real(fd);
    int dropped = wanted("dropped");
    if (dropped || wanted("unsynced")) {
        if (dropped && ftruncate(fd, synced_bytes) != 0) abort();
        taken();
        errno = EIO;
        return -1;
    }
    if (wanted("slow")) wait_while_slow();
    int result = real(fd);
    remember_length(fd);
    return result;
}

/* At opening, what an earlier process wrote is synced by this one. */
int fsync(int fd) {
    static int (*real)(int);
    if (!real) real = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    int result = real(fd);
    if (is_segment(fd)) remember_length(fd);
    return result;
}
