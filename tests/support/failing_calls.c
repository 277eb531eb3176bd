/* Preloaded into a process (LD_PRELOAD), it makes one call of the system fail: the n-th that changes a file below a
 * folder, with an error number, or by killing the process. Python's own calls and SQLite's pass through here alike. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

static char folder[PATH_MAX];
static long fail_at = -1, calls = 0;
static int number = 0, stays = 0, armed = 0;

void failing_calls_arm(const char *where, long at, int error, int persists) {
    snprintf(folder, sizeof folder, "%s", where);
    fail_at = at; number = error; stays = persists; calls = 0; armed = 1;
}

long failing_calls_count(void) { armed = 0; return calls; }

/* A program that a process starts is armed by its environment: FAILING_CALLS is "AT ERROR PERSISTS PROGRAM COUNT FOLDER". Only
 * the program whose arguments name PROGRAM is; it keeps the number of its calls in the file COUNT. */
static char count_file[PATH_MAX];

static void leave_count(long count) {
    FILE *file = count_file[0] ? fopen(count_file, "w") : NULL;
    if (file == NULL) return;
    fprintf(file, "%ld", count);
    fclose(file);
}

__attribute__((constructor)) static void arm_by_environment(int arguments, char **values) {
    const char *told = getenv("FAILING_CALLS");
    char program[PATH_MAX], where[PATH_MAX];
    long at;
    int error, persists;
    if (told == NULL || sscanf(told, "%ld %d %d %s %s %s", &at, &error, &persists, program, count_file, where) != 6)
        return;
    for (int i = 1; i < arguments; i++)
        if (strcmp(values[i], program) == 0) {
            failing_calls_arm(where, at, error, persists);
            leave_count(0);
        }
}

/* 1: this call shall fail, errno is set. Error 0 kills. */
static int fails(void) {
    long now = calls++;
    leave_count(calls);
    if (fail_at < 0 || now < fail_at || (now > fail_at && !stays)) return 0;
    if (number == 0) kill(getpid(), SIGKILL);
    errno = number;
    return 1;
}

static int path_fails(const char *path) {
    char whole[PATH_MAX], here[PATH_MAX];
    if (!armed || path == NULL) return 0;
    if (path[0] != '/') {
        if (getcwd(here, sizeof here) == NULL) return 0;
        snprintf(whole, sizeof whole, "%.2000s/%.2000s", here, path);
        path = whole;
    }
    return strncmp(path, folder, strlen(folder)) == 0 && fails();
}

static int file_fails(int file) {
    char link[64], path[PATH_MAX];
    ssize_t size;
    if (!armed) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    size = readlink(link, path, sizeof path - 1);
    if (size <= 0) return 0;
    path[size] = 0;
    return strncmp(path, folder, strlen(folder)) == 0 && fails();
}

#define PLAIN(name) ((__typeof__(&name)) dlsym(RTLD_NEXT, #name))
#define CHANGES(flags) ((flags) & (O_WRONLY | O_RDWR | O_CREAT | O_TRUNC))

#define OPENER(name)                                                        \
    int name(const char *path, int flags, ...) {                            \
        mode_t mode = 0;                                                    \
        if (flags & O_CREAT) {                                              \
            va_list rest; va_start(rest, flags);                            \
            mode = va_arg(rest, mode_t); va_end(rest);                      \
        }                                                                   \
        if (CHANGES(flags) && path_fails(path)) return -1;                  \
        return PLAIN(name)(path, flags, mode);                              \
    }
OPENER(open)
OPENER(open64)

#define OPENER_AT(name)                                                     \
    int name(int at, const char *path, int flags, ...) {                    \
        mode_t mode = 0;                                                    \
        if (flags & O_CREAT) {                                              \
            va_list rest; va_start(rest, flags);                            \
            mode = va_arg(rest, mode_t); va_end(rest);                      \
        }                                                                   \
        if (CHANGES(flags) && path_fails(path)) return -1;                  \
        return PLAIN(name)(at, path, flags, mode);                          \
    }
OPENER_AT(openat)
OPENER_AT(openat64)

ssize_t write(int file, const void *data, size_t size) {
    return file_fails(file) ? -1 : PLAIN(write)(file, data, size);
}
ssize_t pwrite(int file, const void *data, size_t size, off_t at) {
    return file_fails(file) ? -1 : PLAIN(pwrite)(file, data, size, at);
}
ssize_t pwrite64(int file, const void *data, size_t size, off64_t at) {
    return file_fails(file) ? -1 : PLAIN(pwrite64)(file, data, size, at);
}
int fsync(int file) { return file_fails(file) ? -1 : PLAIN(fsync)(file); }
int fdatasync(int file) { return file_fails(file) ? -1 : PLAIN(fdatasync)(file); }
int ftruncate(int file, off_t size) { return file_fails(file) ? -1 : PLAIN(ftruncate)(file, size); }
int ftruncate64(int file, off64_t size) { return file_fails(file) ? -1 : PLAIN(ftruncate64)(file, size); }
int fchmod(int file, mode_t mode) { return file_fails(file) ? -1 : PLAIN(fchmod)(file, mode); }
int chmod(const char *path, mode_t mode) { return path_fails(path) ? -1 : PLAIN(chmod)(path, mode); }
int mkdir(const char *path, mode_t mode) { return path_fails(path) ? -1 : PLAIN(mkdir)(path, mode); }
int unlink(const char *path) { return path_fails(path) ? -1 : PLAIN(unlink)(path); }
int rename(const char *from, const char *to) { return path_fails(to) ? -1 : PLAIN(rename)(from, to); }
int link(const char *from, const char *to) { return path_fails(to) ? -1 : PLAIN(link)(from, to); }
