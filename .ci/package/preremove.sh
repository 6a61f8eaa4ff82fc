#!/bin/sh
# Removed for good, not upgraded ("upgrade" in Debian, 1 in RPM): the service stops. Data
# and the user stay.
set -e
case "$1" in upgrade | 1) exit 0 ;; esac
if [ -d /run/systemd/system ]; then systemctl disable --now eclose || true; fi
