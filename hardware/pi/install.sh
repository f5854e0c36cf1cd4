#!/usr/bin/env bash
# Installs or updates Tarebook on a Raspberry Pi (64-bit system, Python 3.11 or newer). Run it again whenever you like: it
# changes only what differs. An update keeps the version before it, and goes back by itself when the new one does not start.
#
#   sudo ./install.sh                install or update from this checkout
#   sudo ./install.sh --rollback     go back to the version before
#   sudo ./install.sh --header       sensors on the Pi's header: also turns on I2C and one-wire
#   ./install.sh --dry-run           say what would be done, and do nothing
set -euo pipefail
umask 022

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
repo=$(cd "$here/../.." && pwd)
root=${DESTDIR:-}
opt=$root/opt/tarebook etc=$root/etc/tarebook state=$root/var/lib/tarebook
user=tarebook
broker_users=(tarebook viewer collector)
dry='' rollback='' header='' restart='' broker_changed=''

fail() { echo "install.sh: $*" >&2; exit 2; }
say() { printf -- '-- %s\n' "$*"; }

# Runs a command, or in a dry run says it, quoted where it has to be.
act() {
  [ -n "$dry" ] || { "$@"; return; }
  printf '   would run:'
  local word
  for word in "$@"; do
    [[ $word =~ ^[[:alnum:]_./:=,+@%-]+$ ]] || word=${word@Q}
    printf ' %s' "$word"
  done
  echo
}

# Nothing is done in a dry run; an ordinary user may not see all that is there already.
begin_dry_run() {
  [ -n "$dry" ] || return 0
  echo "A dry run: this is what would be done, and nothing is done."
  if [ "$(id -u)" != 0 ] && [ -e "$etc" ] && [ ! -r "$etc" ]; then
    echo "Root alone can see what is set up here: sudo $0 --dry-run leaves out what is there already."
  fi
}

# put MODE GROUP SOURCE TARGET [COMMAND...]: copies a file when it differs, and then runs the command.
put() {
  local mode=$1 group=$2 source=$3 target=$4
  shift 4
  if cmp -s "$source" "$target"; then return 0; fi
  act install -D -m "$mode" -g "$group" "$source" "$target"
  [ $# = 0 ] || act "$@"
}

read_arguments() {
  for argument in "$@"; do
    case $argument in
      --dry-run) dry=yes ;;
      --rollback) rollback=yes ;;
      --header) header=yes ;;
      *) fail "unknown argument $argument; there are --dry-run, --rollback, --header" ;;
    esac
  done
}

check_machine() {
  [ -n "$dry" ] || [ -n "$root" ] || [ "$(id -u)" = 0 ] || fail "needs root: run it with sudo, or with --dry-run to see what it would do"
  local bits; bits=$(getconf LONG_BIT)
  [ "$bits" = 64 ] || fail "this is a $bits-bit system; put the 64-bit Raspberry Pi OS on the card"
  python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || fail "needs Python 3.11 or newer: update the system"
}

# Python 3.13 has no wheel of the GPIO library: there the distribution's own package serves, seen through the environment.
gpio_from_system() { python3 -c 'import sys; sys.exit(sys.version_info < (3, 13))'; }

install_packages() {
  local wanted=(python3-venv mosquitto sqlite3) missing=() package
  if gpio_from_system; then wanted+=(python3-rpi-lgpio); fi
  for package in "${wanted[@]}"; do
    dpkg -s "$package" >/dev/null 2>&1 || missing+=("$package")
  done
  [ ${#missing[@]} -gt 0 ] || return 0
  say "system packages: ${missing[*]}"
  act apt-get update -q
  for package in "${missing[@]}"; do
    act env DEBIAN_FRONTEND=noninteractive apt-get install -y -q "$package" || {
      [ "$package" = python3-rpi-lgpio ] || fail "could not install $package"
      say "$package is not to be had: sensors on the header will not work, a sensor board will"
    }
  done
}

make_user() {
  say "user $user, who may use the serial port, I2C and GPIO and nothing else"
  getent passwd "$user" >/dev/null || act useradd --system --user-group --home-dir /var/lib/tarebook --shell /usr/sbin/nologin "$user"
  local group
  for group in dialout i2c gpio; do
    if getent group "$group" >/dev/null && ! id -nG "$user" 2>/dev/null | tr ' ' '\n' | grep -qx "$group"; then
      act usermod -a -G "$group" "$user"
    fi
  done
}

make_folders() {
  say "folders for the program, its settings, its record"
  act install -d -m 0755 "$opt" "$opt/versions"
  act install -d -m 2770 -g "$user" "$etc"
  act install -d -m 0750 -o "$user" -g "$user" "$state" "$state/backups"
}

password_file() { [ "$1" = tarebook ] && echo "$etc/mqtt-password" || echo "$etc/mqtt-password-$1"; }

# Passwords nobody has to invent: `viewer` is for the shop's other programs, `collector` for `tarebook collect`.
make_passwords() {
  local name file hashed="$root/etc/mosquitto/tarebook.passwd" plain=
  for name in "${broker_users[@]}"; do
    file=$(password_file "$name")
    if [ ! -s "$file" ]; then
      say "a password for $name of the broker, in $file"
      [ -n "$dry" ] || (umask 077; head -c 18 /dev/urandom | base64 >"$file")
      act chgrp "$user" "$file"
      act chmod 0640 "$file"
      plain=new
    fi
  done
  [ -n "$plain" ] || [ ! -s "$hashed" ] || return 0
  say "the same hashed for the broker, in $hashed"
  broker_changed=yes
  [ -z "$dry" ] || return 0
  mkdir -p "$(dirname "$hashed")"
  (umask 077; for name in "${broker_users[@]}"; do echo "$name:$(<"$(password_file "$name")")"; done >"$hashed.new")
  mosquitto_passwd -U "$hashed.new"
  chgrp mosquitto "$hashed.new" 2>/dev/null || true
  chmod 0640 "$hashed.new"
  mv "$hashed.new" "$hashed"
}

install_files() {
  local systemd=$root/etc/systemd example=board name to
  say "settings of the broker, the board's name, the journal's limit, the service, an example cart file"
  for name in mosquitto.acl:tarebook.acl mosquitto.conf:conf.d/tarebook.conf; do
    to=$root/etc/mosquitto/${name#*:}
    cmp -s "$here/files/${name%:*}" "$to" || broker_changed=yes
    put 0640 mosquitto "$here/files/${name%:*}" "$to"
  done
  [ -z "$broker_changed" ] || act systemctl restart mosquitto
  put 0644 root "$here/files/60-tarebook.rules" "$root/etc/udev/rules.d/60-tarebook.rules" udevadm control --reload
  put 0644 root "$here/files/journald.conf" "$systemd/journald.conf.d/tarebook.conf" systemctl restart systemd-journald
  cmp -s "$here/files/tarebook.service" "$systemd/system/tarebook.service" || restart=yes
  put 0644 root "$here/files/tarebook.service" "$systemd/system/tarebook.service" systemctl daemon-reload
  [ -z "$header" ] || example=header
  [ -e "$etc/cart.toml" ] || put 0660 "$user" "$repo/hardware/carts/$example.toml" "$etc/cart.toml"
  act install -d -m 0755 "$root/usr/local/bin"
  act ln -sfn /opt/tarebook/current/bin/tarebook "$root/usr/local/bin/tarebook"
}

# Turns on the header's buses; they are there after the next start.
set_up_header() {
  [ -n "$header" ] || return 0
  local config=$root/boot/firmware/config.txt line
  [ -e "$config" ] || config=$root/boot/config.txt
  [ -e "$config" ] || { say "no config.txt under /boot: turn on I2C and one-wire by hand"; return 0; }
  for line in dtparam=i2c_arm=on dtoverlay=w1-gpio; do
    grep -qx "$line" "$config" && continue
    say "adding $line to $config; start the Pi again afterwards"
    [ -n "$dry" ] || printf '%s\n' "$line" >>"$config"
  done
  put 0644 root "$here/files/modules.conf" "$root/etc/modules-load.d/tarebook.conf"
}

version_now() { readlink "$opt/current" 2>/dev/null || true; }

# A version is named by what is in it and by the Python under it: the same again is nothing new.
name_version() {
  local content
  content=$(cd "$repo" && find pyproject.toml hardware/pi/requirements.txt firmware_bridge logger web -type f ! -path '*/__pycache__/*' -print0 |
    LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -c1-12)
  version=versions/$(python3 -c 'import sys; print("py%d.%d" % sys.version_info[:2])')-$content
}

# Every version is a folder of its own, so that going back is one link. Its libraries are those with which it was tried.
build_version() {
  local options=() pip=("$opt/$version/bin/python" -m pip install -q --disable-pip-version-check)
  [ ! -e "$opt/$version/complete" ] || return 0
  say "the program, in $opt/$version (some minutes on a Pi)"
  if gpio_from_system; then options=(--system-site-packages); fi
  [ ! -e "$opt/$version" ] || act rm -rf -- "$opt/$version"
  act python3 -m venv "${options[@]}" "$opt/$version"
  act "${pip[@]}" --require-hashes -r "$here/requirements.txt"
  act "${pip[@]}" --no-deps --no-build-isolation "$repo"
  act "$opt/$version/bin/python" -c 'import logger.cli'
  act touch "$opt/$version/complete"
}

# The store as it was before a version that might change it.
back_up_store() {
  [ -e "$state/tarebook.db" ] || return 0
  local backup
  backup=$state/backups/$(date -u +%Y%m%dT%H%M%SZ).db
  say "a copy of the record"
  act sqlite3 "$state/tarebook.db" ".backup '$backup'"
  act chown "$user:$user" "$backup"
  [ -n "$dry" ] || find "$state/backups" -name '*.db' | sort | head -n -5 | xargs -r rm --
}

# The link is replaced in one step: at no moment is there no version.
point_to() {
  act ln -sfn "$2" "$opt/$1.new"
  act mv -T "$opt/$1.new" "$opt/$1"
}

switch_to() {
  local before; before=$(version_now)
  [ "$before" != "$1" ] || return 0
  restart=yes
  say "switching to $1"
  [ -z "$before" ] || point_to previous "$before"
  point_to current "$1"
}

forget_old_versions() {
  [ -z "$dry" ] || return 0
  local folder keep
  keep=" $(version_now) $(readlink "$opt/previous" 2>/dev/null || true) "
  for folder in "$opt"/versions/*; do
    [[ $keep == *" versions/$(basename "$folder") "* ]] || rm -rf -- "$folder"
  done
}

# systemd waits until the program says that it is ready.
start_services() {
  say "the services"
  act systemctl enable -q mosquitto tarebook
  if [ -n "$restart" ]; then act systemctl restart tarebook; else act systemctl start tarebook; fi
}

go_back() {
  local before; before=$(readlink "$opt/previous" 2>/dev/null || true)
  if [ -z "$before" ] || [ ! -d "$opt/$before" ]; then fail "there is no version to go back to under $opt"; fi
  say "going back to $before; sessions stay as they are"
  switch_to "$before"
  act systemctl restart tarebook
}

install_all() {
  local before; before=$(version_now)
  begin_dry_run
  install_packages
  make_user
  make_folders
  make_passwords
  install_files
  set_up_header
  name_version
  build_version
  [ "$version" = "$before" ] || back_up_store
  switch_to "$version"
  if ! start_services; then
    if [ -z "$before" ] || [ "$before" = "$version" ]; then
      fail "the service does not start: journalctl -u tarebook says why"
    fi
    go_back
    fail "the new version does not start and the one before runs again: journalctl -u tarebook says why"
  fi
  forget_old_versions
  if [ -n "$dry" ]; then
    say "then: sudo -u $user tarebook check-cart --cart /etc/tarebook/cart.toml. Nothing was done now: run it with sudo"
  else
    say "done. With the service stopped, sudo -u $user tarebook check-cart --cart /etc/tarebook/cart.toml says what the sensors see"
  fi
}

read_arguments "$@"
check_machine
if [ -n "$rollback" ]; then go_back; else install_all; fi
