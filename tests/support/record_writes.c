/* Writes down, in order, every change that a program makes to the files of one folder, with the data.
 *
 * Loaded before the C library (LD_PRELOAD). RECORD_FOLDER is the folder, RECORD_TO the file of the record, which must
 * lie elsewhere. A record is a line "KIND OFFSET LENGTH PATH", and LENGTH bytes of data. Memory that is mapped is not
 * recorded: SQLite maps only its -shm file, which means nothing after a power cut.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#define MOST_FILES 1024

static char *open_paths[MOST_FILES];
static pthread_mutex_t in_order = PTHREAD_MUTEX_INITIALIZER;
static int record_file = -2;

#define NEXT(name) ((__typeof__(name) *)dlsym(RTLD_NEXT, #name))

static const char *folder(void)
{
    const char *found = getenv("RECORD_FOLDER");
    return found ? found : "";
}

/* Return the whole path in static memory of the caller where it lies in the folder, else nothing. */
static const char *inside(const char *path, char *whole)
{
    size_t length = strlen(folder());
    if (!length || !path)
        return NULL;
    if (path[0] == '/')
        snprintf(whole, PATH_MAX, "%s", path);
    else {
        char here[PATH_MAX];
        if (!getcwd(here, sizeof here))
            return NULL;
        snprintf(whole, PATH_MAX, "%.2000s/%.2000s", here, path);
    }
    return strncmp(whole, folder(), length) ? NULL : whole;
}

/* The caller holds in_order, from before the change itself to here. */
static void record(const char *kind, const char *path, long long offset, const void *data, size_t length)
{
    char line[PATH_MAX + 100];
    if (record_file == -2)
        record_file = syscall(SYS_openat, AT_FDCWD, getenv("RECORD_TO"), O_WRONLY | O_CREAT | O_APPEND, 0600);
    int size = snprintf(line, sizeof line, "%s %lld %zu %s\n", kind, offset, length, path);
    struct iovec parts[2] = {{line, (size_t)size}, {(void *)data, length}};
    if (syscall(SYS_writev, record_file, parts, 2) != (long)(size + length))
        abort();
}

static const char *path_of(int file)
{
    return file >= 0 && file < MOST_FILES ? open_paths[file] : NULL;
}

static int opened(int folder_file, const char *path, int flags, mode_t mode)
{
    char whole[PATH_MAX];
    const char *mine = folder_file == AT_FDCWD || (path && path[0] == '/') ? inside(path, whole) : NULL;
    pthread_mutex_lock(&in_order);
    int was_there = mine && !syscall(SYS_access, whole, F_OK);
    int file = syscall(SYS_openat, folder_file, path, flags, mode);
    if (mine && file >= 0 && file < MOST_FILES) {
        free(open_paths[file]);
        open_paths[file] = strdup(whole);
        if (!was_there)
            record("create", whole, 0, "", 0);
        else if (flags & O_TRUNC)
            record("truncate", whole, 0, "", 0);
    }
    pthread_mutex_unlock(&in_order);
    return file;
}

#define OPEN(name)                                                                                                     \
    int name(const char *path, int flags, ...)                                                                         \
    {                                                                                                                  \
        va_list more;                                                                                                  \
        va_start(more, flags);                                                                                         \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;                                        \
        va_end(more);                                                                                                  \
        return opened(AT_FDCWD, path, flags, mode);                                                                    \
    }
OPEN(open)
OPEN(open64)

#define OPENAT(name)                                                                                                   \
    int name(int folder_file, const char *path, int flags, ...)                                                        \
    {                                                                                                                  \
        va_list more;                                                                                                  \
        va_start(more, flags);                                                                                         \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;                                        \
        va_end(more);                                                                                                  \
        return opened(folder_file, path, flags, mode);                                                                 \
    }
OPENAT(openat)
OPENAT(openat64)

int close(int file)
{
    pthread_mutex_lock(&in_order);
    if (path_of(file)) {
        free(open_paths[file]);
        open_paths[file] = NULL;
    }
    int result = syscall(SYS_close, file);
    pthread_mutex_unlock(&in_order);
    return result;
}

ssize_t write(int file, const void *data, size_t length)
{
    if (!path_of(file))
        return syscall(SYS_write, file, data, length);
    pthread_mutex_lock(&in_order);
    off_t at = fcntl(file, F_GETFL) & O_APPEND ? lseek(file, 0, SEEK_END) : lseek(file, 0, SEEK_CUR);
    ssize_t written = syscall(SYS_write, file, data, length);
    if (written > 0)
        record("write", path_of(file), at, data, written);
    pthread_mutex_unlock(&in_order);
    return written;
}

static ssize_t written_at(int file, const void *data, size_t length, off_t at)
{
    if (!path_of(file))
        return syscall(SYS_pwrite64, file, data, length, at);
    pthread_mutex_lock(&in_order);
    ssize_t written = syscall(SYS_pwrite64, file, data, length, at);
    if (written > 0)
        record("write", path_of(file), at, data, written);
    pthread_mutex_unlock(&in_order);
    return written;
}

ssize_t pwrite(int file, const void *data, size_t length, off_t at) { return written_at(file, data, length, at); }
ssize_t pwrite64(int file, const void *data, size_t length, off_t at) { return written_at(file, data, length, at); }

static int truncated(int file, off_t length)
{
    if (!path_of(file))
        return syscall(SYS_ftruncate, file, length);
    pthread_mutex_lock(&in_order);
    int result = syscall(SYS_ftruncate, file, length);
    if (!result)
        record("truncate", path_of(file), length, "", 0);
    pthread_mutex_unlock(&in_order);
    return result;
}

int ftruncate(int file, off_t length) { return truncated(file, length); }
int ftruncate64(int file, off_t length) { return truncated(file, length); }

/* A sync is recorded, and not done: this machine's power is not cut. */
static int synced(int file)
{
    pthread_mutex_lock(&in_order);
    if (path_of(file))
        record("sync", path_of(file), 0, "", 0);
    pthread_mutex_unlock(&in_order);
    return 0;
}

int fsync(int file) { return synced(file); }
int fdatasync(int file) { return synced(file); }

int unlink(const char *path)
{
    char whole[PATH_MAX];
    pthread_mutex_lock(&in_order);
    int result = syscall(SYS_unlink, path);
    if (!result && inside(path, whole))
        record("unlink", whole, 0, "", 0);
    pthread_mutex_unlock(&in_order);
    return result;
}

int rename(const char *from, const char *to)
{
    char whole_from[PATH_MAX], whole_to[PATH_MAX];
    pthread_mutex_lock(&in_order);
    int result = syscall(SYS_rename, from, to);
    if (!result && inside(from, whole_from) && inside(to, whole_to))
        record("rename", whole_from, 0, whole_to, strlen(whole_to));
    pthread_mutex_unlock(&in_order);
    return result;
}
