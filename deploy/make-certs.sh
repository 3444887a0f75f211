#!/bin/sh
# Certificates for trying mosquitto.conf: an authority of your own, and a broker's certificate that it signs.
#   deploy/make-certs.sh DIR NAME...    NAME: each host name or IP address by which clients reach the broker
# For good use an authority that is looked after: this one's key lies in DIR without a password. Valid for 397 days.
set -eu
[ $# -ge 2 ] || { echo "usage: make-certs.sh DIR NAME...   for example: make-certs.sh certs broker.home 192.168.1.20" >&2; exit 2; }
command -v openssl >/dev/null 2>&1 || { echo "make-certs.sh: openssl is not installed: install it" >&2; exit 2; }
dir=$1
shift
umask 077
mkdir -p "$dir"
[ ! -e "$dir/ca.key" ] || { echo "make-certs.sh: $dir/ca.key is there already: name another folder" >&2; exit 2; }

names=""
for name in "$@"; do
    case $name in
        *[!0-9.]*) [ "${name#*:}" = "$name" ] && kind=DNS || kind=IP ;; # a colon is IPv6
        *) kind=IP ;;
    esac
    names="$names${names:+,}$kind:$name"
done

quiet() { openssl "$@" 2>"$dir/openssl.log" || { cat "$dir/openssl.log" >&2; exit 1; }; }
ec="-newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes"
# shellcheck disable=SC2086
quiet req -x509 $ec -keyout "$dir/ca.key" -out "$dir/ca.pem" -days 397 -subj "/CN=wallclime trial authority" \
    -addext "basicConstraints=critical,CA:TRUE,pathlen:0" -addext "keyUsage=critical,keyCertSign,cRLSign"
# shellcheck disable=SC2086
quiet req $ec -keyout "$dir/broker.key" -out "$dir/broker.csr" -subj "/CN=wallclime trial broker"
printf 'subjectAltName=%s\nbasicConstraints=critical,CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage=serverAuth\n' \
    "$names" > "$dir/broker.ext"
quiet x509 -req -in "$dir/broker.csr" -CA "$dir/ca.pem" -CAkey "$dir/ca.key" -CAcreateserial -days 397 \
    -extfile "$dir/broker.ext" -out "$dir/broker.pem"
rm -f "$dir/broker.csr" "$dir/broker.ext" "$dir/openssl.log" "$dir/ca.srl"
chmod 644 "$dir/ca.pem" "$dir/broker.pem"
echo "wrote $dir/ca.pem (give it to every client), broker.pem, broker.key (for the broker alone), ca.key (put it away)"
