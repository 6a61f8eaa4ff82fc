#!/bin/sh
# The user, its folder; the service starts when its operator says so.
set -e
if ! getent group eclose >/dev/null; then groupadd --system eclose; fi
if ! getent passwd eclose >/dev/null; then
	useradd --system --gid eclose --home-dir /var/lib/eclose --no-create-home --shell /usr/sbin/nologin --comment "Eclose" eclose
fi
mkdir -p /var/lib/eclose
chown eclose:eclose /var/lib/eclose
chmod 0750 /var/lib/eclose
if [ -d /run/systemd/system ]; then systemctl daemon-reload; fi
