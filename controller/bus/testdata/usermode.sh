#!/bin/sh
# Builds a user-mode kernel with GPIO simulation for TestLinesOnAUserModeKernel, into the directory given.
# Needs Debian's packages linux-source-6.1 flex bison bc m4, and about five minutes of two processors.
set -e
dir=${1:?give a directory to build in}
mkdir -p "$dir" && cd "$dir"
tar xf /usr/src/linux-source-6.1.tar.xz
cd linux-source-6.1
# All 64 interrupts are taken; the simulated lines want one each.
sed -i 's/^#define NR_IRQS\s.*$/#define NR_IRQS (UM_LAST_SIGNAL_IRQ + 64)/' arch/um/include/asm/irq.h
make ARCH=um tinyconfig >/dev/null
cat >> .config <<'C'
CONFIG_64BIT=y
CONFIG_EXPERT=y
CONFIG_PRINTK=y
CONFIG_BINFMT_ELF=y
CONFIG_HOSTFS=y
CONFIG_PROC_FS=y
CONFIG_PROC_SYSCTL=y
CONFIG_SYSFS=y
CONFIG_TMPFS=y
CONFIG_SHMEM=y
CONFIG_DEVTMPFS=y
CONFIG_EPOLL=y
CONFIG_FUTEX=y
CONFIG_EVENTFD=y
CONFIG_SIGNALFD=y
CONFIG_TIMERFD=y
CONFIG_POSIX_TIMERS=y
CONFIG_MULTIUSER=y
CONFIG_FILE_LOCKING=y
CONFIG_ADVISE_SYSCALLS=y
CONFIG_MEMBARRIER=y
CONFIG_HIGH_RES_TIMERS=y
CONFIG_NO_HZ_IDLE=y
CONFIG_TTY=y
CONFIG_STDERR_CONSOLE=y
CONFIG_STDIO_CONSOLE=y
CONFIG_FD_CHAN=y
CONFIG_NULL_CHAN=y
CONFIG_CON_ZERO_CHAN="fd:0,fd:1"
CONFIG_CON_CHAN="null"
CONFIG_GPIOLIB=y
CONFIG_GPIO_CDEV=y
CONFIG_CONFIGFS_FS=y
CONFIG_GPIO_SIM=y
CONFIG_IRQ_SIM=y
C
make ARCH=um olddefconfig >/dev/null
make ARCH=um -j2 linux >make.log 2>&1 || { tail -20 make.log; exit 1; }
echo "$PWD/linux"
