"""An authority that stamps times (RFC 3161), for these tests: a real HTTP server with a certificate of its own."""

import datetime as dt
import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

from asn1crypto import algos, cms, core, tsp
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

POLICY = "1.3.6.1.4.1.32473.1"  # of the arc that RFC 5612 keeps for examples
BEGAN = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)


class Authority:
    """A root and, signed by it, the certificate that stamps. `moment` is what its clock shows."""

    def __init__(self, moment: dt.datetime) -> None:
        self.moment = moment
        self.asked = 0
        self.answers_with: Any = None
        self.root_key, self.key = (ec.generate_private_key(ec.SECP256R1()) for _each in range(2))
        self.root = self._certificate("Invented root", self.root_key, None)
        self.certificate = self._certificate("Invented stamps", self.key, self.root)

    @property
    def root_pem(self) -> str:
        return self.root.public_bytes(Encoding.PEM).decode()

    def _certificate(self, name: str, key: Any, issuer: x509.Certificate | None) -> x509.Certificate:
        root = self.root_key.public_key()
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        made = (
            x509.CertificateBuilder().subject_name(subject).issuer_name(issuer.subject if issuer else subject)
            .public_key(key.public_key()).serial_number(x509.random_serial_number()).not_valid_before(BEGAN)
            .not_valid_after(BEGAN + dt.timedelta(days=3650))
            .add_extension(x509.BasicConstraints(ca=issuer is None, path_length=None), critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root), critical=False)
        )  # fmt: skip
        if issuer is None:
            usage = x509.KeyUsage(
                digital_signature=True, content_commitment=False, key_encipherment=False, data_encipherment=False,
                key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
            )  # fmt: skip
            made = made.add_extension(usage, critical=True)
        else:
            made = made.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
        return made.sign(self.root_key, hashes.SHA256())

    def answer(self, asked: bytes) -> bytes:
        """A granted TimeStampResp over what was asked."""
        request = tsp.TimeStampReq.load(asked)
        info = tsp.TSTInfo(
            {
                "version": "v1", "policy": POLICY, "message_imprint": request["message_imprint"],
                "serial_number": 1000 + self.asked, "gen_time": self.moment.replace(microsecond=0),
                "nonce": request["nonce"].native,
            }
        )  # fmt: skip
        certificate = asn1_x509.Certificate.load(self.certificate.public_bytes(Encoding.DER))
        signed = self._signed(info, certificate)
        content = cms.ContentInfo({"content_type": "signed_data", "content": signed})
        return tsp.TimeStampResp({"status": {"status": "granted"}, "time_stamp_token": content}).dump()

    def _signed(self, info: tsp.TSTInfo, certificate: asn1_x509.Certificate) -> cms.SignedData:
        sha256 = algos.DigestAlgorithm({"algorithm": "sha256"})
        ess = tsp.SigningCertificateV2({"certs": [{"cert_hash": hashlib.sha256(certificate.dump()).digest()}]})
        attributes = cms.CMSAttributes(
            [
                {"type": "content_type", "values": ["tst_info"]},
                {"type": "message_digest", "values": [hashlib.sha256(info.dump()).digest()]},
                {"type": "signing_time", "values": [cms.Time({"utc_time": core.UTCTime(self.moment)})]},
                {"type": "signing_certificate_v2", "values": [ess]},
            ]
        )
        signature = self.key.sign(attributes.dump(), ec.ECDSA(hashes.SHA256()))
        signer = cms.SignerInfo(
            {
                "version": "v1",
                "sid": {"issuer_and_serial_number": {
                    "issuer": certificate.issuer, "serial_number": certificate.serial_number}},
                "digest_algorithm": sha256, "signed_attrs": attributes,
                "signature_algorithm": {"algorithm": "sha256_ecdsa"}, "signature": signature,
            }
        )  # fmt: skip
        return cms.SignedData(
            {
                "version": "v3", "digest_algorithms": [sha256],
                "encap_content_info": {"content_type": "tst_info", "content": core.ParsableOctetString(info.dump())},
                "certificates": [certificate, asn1_x509.Certificate.load(self.root.public_bytes(Encoding.DER))],
                "signer_infos": [signer],
            }
        )  # fmt: skip


@contextmanager
def serving(authority: Authority) -> Iterator[str]:
    """The authority on a port of this machine; its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            authority.asked += 1
            status, kind, body, more = 200, "application/timestamp-reply", b"", {}
            if authority.answers_with is not None:
                status, kind, body, more = authority.answers_with
            else:
                body = authority.answer(asked)
            self.send_response(status)
            for name, value in {"Content-Type": kind, "Content-Length": str(len(body)), **more}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_arguments: Any) -> None:
            """Says nothing."""

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
