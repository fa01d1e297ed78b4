"""A certificate authority made for a test, and certificates of servers that it signed."""

import ssl
import subprocess
from pathlib import Path

_NEW_KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
_IS_AUTHORITY = ("-addext", "basicConstraints=critical,CA:TRUE", "-addext", "keyUsage=critical,keyCertSign")


class Authority:
    """Signs certificates; `certificate` is the file by which it is trusted."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.certificate = folder / "authority.pem"
        named = ("-subj", "/CN=An authority made for a test", "-days", "2")
        kept = ("-keyout", "authority.key", "-out", self.certificate.name)
        self._openssl("req", "-x509", *_NEW_KEY, *kept, *named, *_IS_AUTHORITY)

    def server(self, name: str) -> ssl.SSLContext:
        """Return what a server needs to speak TLS under a name, such as `IP:127.0.0.1` or `DNS:a.example`."""
        (self.folder / "names").write_text(f"subjectAltName={name}\n")
        self._openssl(
            "req", *_NEW_KEY, "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=a server"
        )
        signed_by = ("-CA", "authority.pem", "-CAkey", "authority.key", "-CAcreateserial", "-days", "2")
        self._openssl(
            "x509", "-req", "-in", "server.csr", *signed_by, "-extfile", "names", "-out", "server.pem"
        )
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.folder / "server.pem", self.folder / "server.key")
        return context

    def _openssl(self, *arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=self.folder, check=True, capture_output=True)
