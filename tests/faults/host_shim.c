/* Loaded before the C library into one process, it makes the host ill as a shared block of numbers says: the wall clock
   off, writes below one folder refused, syncs slow. Numbers: wall offset ns, errno of writes, ms a sync takes longer. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

enum { WALL_NS, WRITE_ERRNO, SYNC_MS, NUMBERS };
static volatile int64_t none[NUMBERS], *ill = none;
static const char *folder = "";

__attribute__((constructor)) static void begin(void) {
  const char *block = getenv("HOST_FAULTS_BLOCK"), *where = getenv("HOST_FAULTS_FOLDER");
  int (*real_open)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
  int fd = block && where ? real_open(block, O_RDONLY | O_CLOEXEC) : -1;
  if (fd < 0) return;
  void *mapped = mmap(NULL, sizeof none, PROT_READ, MAP_SHARED, fd, 0);
  close(fd);
  if (mapped == MAP_FAILED) return;
  folder = where;
  ill = mapped;
}

static int below(const char *path) { return strncmp(path, folder, strlen(folder)) == 0; }

static int concerns(int fd) {
  char name[64], path[4096];
  snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(name, path, sizeof path - 1);
  if (length <= 0) return 0;
  path[length] = 0;
  return below(path);
}

static int refused(int fd) {
  if (!ill[WRITE_ERRNO] || !concerns(fd)) return 0;
  errno = (int)ill[WRITE_ERRNO];
  return 1;
}

#define REAL(name) static __typeof__(name) *real; if (!real) real = dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *data, size_t size) { REAL(write); return refused(fd) ? -1 : real(fd, data, size); }
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
  REAL(pwrite);
  return refused(fd) ? -1 : real(fd, data, size, at);
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
  REAL(pwrite64);
  return refused(fd) ? -1 : real(fd, data, size, at);
}

static int sync_ill(int fd) {
  if (refused(fd)) return -1;
  if (ill[SYNC_MS] && concerns(fd)) {
    struct timespec longer = {ill[SYNC_MS] / 1000, ill[SYNC_MS] % 1000 * 1000000};
    nanosleep(&longer, NULL);
  }
  return 0;
}
int fsync(int fd) { REAL(fsync); return sync_ill(fd) ? -1 : real(fd); }
int fdatasync(int fd) { REAL(fdatasync); return sync_ill(fd) ? -1 : real(fd); }

static int opened_ill(const char *path, int flags) {
  if (ill[WRITE_ERRNO] != EROFS || !(flags & (O_WRONLY | O_RDWR | O_CREAT)) || !below(path)) return 0;
  errno = EROFS;
  return 1;
}
#define OPENS(name)                                                     \
  int name(const char *path, int flags, ...) {                          \
    va_list more;                                                       \
    va_start(more, flags);                                              \
    int mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, int) : 0;   \
    va_end(more);                                                       \
    REAL(name);                                                         \
    return opened_ill(path, flags) ? -1 : real(path, flags, mode);      \
  }
OPENS(open)
OPENS(open64)

int clock_gettime(clockid_t which, struct timespec *now) {
  REAL(clock_gettime);
  int result = real(which, now);
  if (result == 0 && which == CLOCK_REALTIME && ill[WALL_NS]) {
    int64_t ns = (int64_t)now->tv_sec * 1000000000 + now->tv_nsec + ill[WALL_NS];
    now->tv_sec = ns / 1000000000;
    now->tv_nsec = ns % 1000000000;
  }
  return result;
}
time_t time(time_t *out) {
  struct timespec now;
  clock_gettime(CLOCK_REALTIME, &now);
  if (out) *out = now.tv_sec;
  return now.tv_sec;
}
