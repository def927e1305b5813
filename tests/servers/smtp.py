"""A mail server for tests: writes each letter it takes as one JSON line, and misbehaves on request.

Prints its port as its first line. Needs Debian's python3-aiosmtpd.
"""

import argparse
import asyncio
import email
import email.policy
import json
import ssl

from aiosmtpd.smtp import SMTP, AuthResult


def options():
    reader = argparse.ArgumentParser()
    reader.add_argument("--out", required=True, help="file for the letters")
    reader.add_argument("--tls", choices=["none", "starttls", "wrapped"], default="none")
    reader.add_argument("--cert")
    reader.add_argument("--key")
    reader.add_argument("--login", help="user:password")
    reader.add_argument("--refuse-first", type=int, default=0, help="answer this many letters with the refusal")
    reader.add_argument("--refusal", default="451 4.7.1 come back later")
    reader.add_argument("--lose-reply", type=int, default=0, help="take this many letters and hang up unanswered")
    return reader.parse_args()


class Desk:
    def __init__(self, chosen):
        self.chosen = chosen
        self.refused = 0
        self.lost = 0

    async def handle_DATA(self, server, session, envelope):
        if self.refused < self.chosen.refuse_first:
            self.refused += 1
            return self.chosen.refusal
        self.write(session, envelope)
        if self.lost < self.chosen.lose_reply:
            self.lost += 1
            server.transport.abort()
        return "250 2.0.0 taken"

    def write(self, session, envelope):
        letter = email.message_from_bytes(envelope.content, policy=email.policy.default)
        plain = letter.get_body(("plain",))
        html = letter.get_body(("html",))
        line = {
            "sender": envelope.mail_from,
            "readers": envelope.rcpt_tos,
            "headers": [[name.lower(), str(value)] for name, value in letter.items()],
            "plain": plain.get_content() if plain else None,
            "html": html.get_content() if html else None,
            "enclosed": [
                [part.get_filename(), part["content-type"], part.get_content()] for part in letter.iter_attachments()
            ],
            "encrypted": session.ssl is not None or self.chosen.tls == "wrapped",
            "logged_in": session.authenticated,
        }
        with open(self.chosen.out, "a", encoding="utf-8") as out:
            out.write(json.dumps(line) + "\n")


async def main():
    chosen = options()
    context = None
    if chosen.tls != "none":
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(chosen.cert, chosen.key)

    def check(server, session, envelope, mechanism, data):
        given = f"{data.login.decode()}:{data.password.decode()}"
        # handled=False leaves the answer (235 or 535) to the server.
        return AuthResult(success=given == chosen.login, handled=False)

    desk = Desk(chosen)

    def session():
        return SMTP(
            desk,
            enable_SMTPUTF8=True,
            tls_context=context if chosen.tls == "starttls" else None,
            require_starttls=chosen.tls == "starttls",
            authenticator=check if chosen.login else None,
            auth_required=chosen.login is not None,
            auth_require_tls=chosen.tls == "starttls",
        )

    wrapped = context if chosen.tls == "wrapped" else None
    server = await asyncio.get_running_loop().create_server(session, "127.0.0.1", 0, ssl=wrapped)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


asyncio.run(main())
