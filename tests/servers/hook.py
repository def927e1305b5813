"""A far end of the webhook for tests: checks the signature of each POST and writes it as one JSON line.

Prints its port as its first line. Only what Python brings itself.
"""

import argparse
import hashlib
import hmac
import http.server
import json
import ssl

reader = argparse.ArgumentParser()
reader.add_argument("--out", required=True, help="file for what came")
reader.add_argument("--secret", required=True)
reader.add_argument("--cert", help="speak TLS with this certificate")
reader.add_argument("--key")
reader.add_argument("--refuse-first", type=int, default=0, help="answer so many with the refusal")
reader.add_argument("--refusal", type=int, default=503)
reader.add_argument("--retry-after")
reader.add_argument("--location")
reader.add_argument("--lose-reply", type=int, default=0, help="take so many and hang up unanswered")
chosen = reader.parse_args()


class Far(http.server.BaseHTTPRequestHandler):
    refused = 0
    lost = 0

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        said = self.headers["Glasshour-Time"].encode() + b"." + body
        wanted = "sha256=" + hmac.new(chosen.secret.encode(), said, hashlib.sha256).hexdigest()
        came = {
            "path": self.path,
            "signed": hmac.compare_digest(wanted, self.headers["Glasshour-Signature"]),
            "time": self.headers["Glasshour-Time"],
            "key": self.headers["Idempotency-Key"],
            "type": self.headers["Content-Type"],
            "body": body.decode(),
        }
        with open(chosen.out, "a", encoding="utf-8") as out:
            out.write(json.dumps(came) + "\n")
        if Far.lost < chosen.lose_reply:
            Far.lost += 1
            self.close_connection = True
            return
        refuse = Far.refused < chosen.refuse_first
        Far.refused += refuse
        answer = b"a secret of the house"
        self.send_response(chosen.refusal if refuse else 200)
        if refuse and chosen.retry_after:
            self.send_header("Retry-After", chosen.retry_after)
        if refuse and chosen.location:
            self.send_header("Location", chosen.location)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


server = http.server.HTTPServer(("127.0.0.1", 0), Far)
if chosen.cert:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chosen.cert, chosen.key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
print(server.server_port, flush=True)
server.serve_forever()
