/* Preloaded into a process: the n-th call on its database's files, or on its network sockets, fails once.
 *
 * Environment: FAILING_PREFIX, which files are meant: those whose path begins with it; and, for a process that nobody
 * arms by calling failing_arm, FAILING_KIND, FAILING_NTH, FAILING_ERRNO and FAILING_SAYS, a file that
 * will hold the name of the call that failed.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/types.h>
#include <unistd.h>

enum { NOTHING, FILES, SOCKETS };

static pthread_mutex_t one_at_a_time = PTHREAD_MUTEX_INITIALIZER;
static const char *prefix, *says;
static int kind, error_number;
static long nth, calls;
static char fired[32];

/* The next call to count is the first one; nth 0 counts and lets nothing fail. */
void failing_arm(int new_kind, long new_nth, int new_error)
{
    pthread_mutex_lock(&one_at_a_time);
    kind = new_kind;
    nth = new_nth;
    error_number = new_error;
    calls = 0;
    fired[0] = 0;
    pthread_mutex_unlock(&one_at_a_time);
}

long failing_calls(void) { return calls; }

/* The name of the call that failed, empty while none has. */
const char *failing_fired(void) { return fired; }

__attribute__((constructor)) static void begin(void)
{
    prefix = getenv("FAILING_PREFIX");
    says = getenv("FAILING_SAYS");
    const char *which = getenv("FAILING_KIND"), *when = getenv("FAILING_NTH"), *why = getenv("FAILING_ERRNO");
    if (which && when && why) {
        kind = !strcmp(which, "files") ? FILES : SOCKETS;
        nth = atol(when);
        error_number = atoi(why);
    }
}

static int is_meant(const char *path) { return prefix && !strncmp(path, prefix, strlen(prefix)); }

static int is_file_meant(int descriptor)
{
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", descriptor);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return is_meant(path);
}

static int is_network(int descriptor)
{
    int domain = 0;
    socklen_t length = sizeof domain;
    return !getsockopt(descriptor, SOL_SOCKET, SO_DOMAIN, &domain, &length) &&
           (domain == AF_INET || domain == AF_INET6);
}

static void say(void)
{
    int descriptor = says ? open(says, O_WRONLY | O_CREAT | O_TRUNC, 0600) : -1;
    if (descriptor >= 0) {
        if (write(descriptor, fired, strlen(fired)) < 0)
            abort();
        close(descriptor);
    }
}

/* Count one call of the kind that is meant; return whether it is the one. */
static int is_next(const char *name)
{
    pthread_mutex_lock(&one_at_a_time);
    int is_it = ++calls == nth;
    if (is_it)
        snprintf(fired, sizeof fired, "%s", name);
    pthread_mutex_unlock(&one_at_a_time);
    if (is_it)
        say();
    return is_it;
}

#define REAL(name) \
    static __typeof__(&name) real; \
    if (!real) \
        real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

#define FAIL_FILE(name, descriptor) \
    if (kind == FILES && is_file_meant(descriptor) && is_next(#name)) { \
        errno = error_number; \
        return -1; \
    }

#define FAIL_SOCKET(name, descriptor) \
    if (kind == SOCKETS && is_network(descriptor) && is_next(#name)) { \
        errno = error_number; \
        return -1; \
    }

/* Half of what was to be written reaches the file before the call fails, as on a disk that fills up. */
#define WRITE_HALF(name, ...) \
    if (kind == FILES && is_file_meant(descriptor) && is_next(#name)) { \
        if (real(__VA_ARGS__) < 0) \
            return -1; \
        errno = error_number; \
        return -1; \
    }

ssize_t write(int descriptor, const void *what, size_t length)
{
    REAL(write);
    WRITE_HALF(write, descriptor, what, length / 2)
    return real(descriptor, what, length);
}

ssize_t pwrite(int descriptor, const void *what, size_t length, off_t where)
{
    REAL(pwrite);
    WRITE_HALF(pwrite, descriptor, what, length / 2, where)
    return real(descriptor, what, length, where);
}

ssize_t pwrite64(int descriptor, const void *what, size_t length, off64_t where)
{
    REAL(pwrite64);
    WRITE_HALF(pwrite64, descriptor, what, length / 2, where)
    return real(descriptor, what, length, where);
}

ssize_t read(int descriptor, void *into, size_t length)
{
    REAL(read);
    FAIL_FILE(read, descriptor)
    return real(descriptor, into, length);
}

ssize_t pread(int descriptor, void *into, size_t length, off_t where)
{
    REAL(pread);
    FAIL_FILE(pread, descriptor)
    return real(descriptor, into, length, where);
}

ssize_t pread64(int descriptor, void *into, size_t length, off64_t where)
{
    REAL(pread64);
    FAIL_FILE(pread64, descriptor)
    return real(descriptor, into, length, where);
}

int fsync(int descriptor)
{
    REAL(fsync);
    FAIL_FILE(fsync, descriptor)
    return real(descriptor);
}

int fdatasync(int descriptor)
{
    REAL(fdatasync);
    FAIL_FILE(fdatasync, descriptor)
    return real(descriptor);
}

int ftruncate(int descriptor, off_t length)
{
    REAL(ftruncate);
    FAIL_FILE(ftruncate, descriptor)
    return real(descriptor, length);
}

int ftruncate64(int descriptor, off64_t length)
{
    REAL(ftruncate64);
    FAIL_FILE(ftruncate64, descriptor)
    return real(descriptor, length);
}

int unlink(const char *path)
{
    REAL(unlink);
    if (kind == FILES && is_meant(path) && is_next("unlink")) {
        errno = error_number;
        return -1;
    }
    return real(path);
}

#define OPENS(name) \
    int name(const char *path, int flags, ...) \
    { \
        REAL(name); \
        va_list more; \
        va_start(more, flags); \
        mode_t mode = va_arg(more, mode_t); \
        va_end(more); \
        if (kind == FILES && is_meant(path) && is_next(#name)) { \
            errno = error_number; \
            return -1; \
        } \
        return real(path, flags, mode); \
    }

OPENS(open)
OPENS(open64)

int connect(int descriptor, const struct sockaddr *to, socklen_t length)
{
    REAL(connect);
    FAIL_SOCKET(connect, descriptor)
    return real(descriptor, to, length);
}

ssize_t send(int descriptor, const void *what, size_t length, int flags)
{
    REAL(send);
    FAIL_SOCKET(send, descriptor)
    return real(descriptor, what, length, flags);
}

ssize_t recv(int descriptor, void *into, size_t length, int flags)
{
    REAL(recv);
    FAIL_SOCKET(recv, descriptor)
    return real(descriptor, into, length, flags);
}
