"""Verifies messages by the text of Standard Webhooks 1.0.0, with the standard library alone.

argv[1] is the file with the secret; standard input has one JSON object a line with the
headers and the body (base64) of a request. Each message is verified as it came, and must
be refused with another body, id, timestamp or secret.
"""
import base64
import hashlib
import hmac
import json
import sys


def accepts(secret, headers, body):
    """Reports whether one of the v1 signatures of a message is right."""
    key = base64.b64decode(secret.removeprefix("whsec_"), validate=True)
    content = headers["webhook-id"].encode() + b"." + headers["webhook-timestamp"].encode() + b"." + body
    want = base64.b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()
    for signature in headers["webhook-signature"].split(" "):
        version, _, text = signature.partition(",")
        if version == "v1" and hmac.compare_digest(text, want):
            return True
    return False


secret = open(sys.argv[1], encoding="ascii").read().strip()
other = "whsec_" + base64.b64encode(b"x" * 32).decode()
out = {"right": 0, "wrong": 0, "forged": 0, "messages": []}
for line in sys.stdin:
    m = json.loads(line)
    h, body = m["headers"], base64.b64decode(m["body"])
    out["right" if accepts(secret, h, body) else "wrong"] += 1
    forgeries = [
        (secret, h, body[:-1] + b" }"),
        (secret, h | {"webhook-id": h["webhook-id"] + "x"}, body),
        (secret, h | {"webhook-timestamp": str(int(h["webhook-timestamp"]) + 1)}, body),
        (other, h, body),
    ]
    out["forged"] += sum(accepts(*f) for f in forgeries)
    out["messages"].append(json.loads(body) | {"id": h["webhook-id"]})
json.dump(out, sys.stdout)
