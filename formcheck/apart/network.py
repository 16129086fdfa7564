"""Close the network for this process, for good.

Neither decoding nor finding a pose needs it, and the landmark library reports its use to its
maker by itself and offers no switch against that. So the kernel is told to refuse this process,
its threads and its children every socket: no name is looked up and nothing is sent. It needs no
special rights and cannot be undone.
"""

from __future__ import annotations

import ctypes
import errno
import os
import platform
import struct
import sys

# Where the kernel cannot be told: a proxy on which nothing listens (port 9 is RFC 863's discard).
_NOWHERE = "http://127.0.0.1:9"
_PROXIES = ("http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY")

# Linux: prctl(2), seccomp(2), bpf(4); numbers from asm/unistd.h and linux/audit.h.
_NO_NEW_PRIVILEGES, _SECCOMP, _FILTER = 38, 22, 2
_ALLOW, _REFUSE = 0x7FFF0000, 0x00050000 | errno.EACCES
_ARCHITECTURE = {"x86_64": 0xC000003E, "aarch64": 0xC00000B7}
_SOCKET_CALLS = {"x86_64": (41, 42), "aarch64": (198, 203)}  # socket, connect
_IO_URING_SETUP = 425  # which can open sockets too
_X32 = 0x40000000  # calls of the x32 ABI begin here
_LOAD, _IF_EQUAL, _IF_AT_LEAST, _RETURN = 0x20, 0x15, 0x35, 0x06


def close_network() -> bool:
    """Refuse sockets to this thread and all it starts; False where the kernel cannot do that.

    Then programs that go by the usual proxy settings still reach nobody.
    """
    for name in _PROXIES:
        os.environ[name] = _NOWHERE
    for name in ("no_proxy", "NO_PROXY"):
        os.environ.pop(name, None)
    machine = platform.machine()
    if sys.platform != "linux" or machine not in _ARCHITECTURE:
        return False
    program = _filter(machine)
    code = ctypes.create_string_buffer(program, len(program))
    described = ctypes.create_string_buffer(
        struct.pack("@HP", len(program) // 8, ctypes.addressof(code))
    )
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    prctl.argtypes = [ctypes.c_int, *[ctypes.c_ulong] * 4]
    if prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0) != 0:
        return False
    return bool(prctl(_SECCOMP, _FILTER, ctypes.addressof(described), 0, 0) == 0)


def _filter(machine: str) -> bytes:
    """Instructions that let every call pass but those that make or connect a socket."""
    refused = (*_SOCKET_CALLS[machine], _IO_URING_SETUP)
    tests = [(_IF_EQUAL, call) for call in refused] + [(_IF_AT_LEAST, _X32)]
    instructions = [
        (_LOAD, 0, 0, 4),  # the architecture the call is made in
        (_IF_EQUAL, 1, 0, _ARCHITECTURE[machine]),
        (_RETURN, 0, 0, _REFUSE),
        (_LOAD, 0, 0, 0),  # the number of the call
        *((test, len(tests) - n, 0, number) for n, (test, number) in enumerate(tests)),
        (_RETURN, 0, 0, _ALLOW),
        (_RETURN, 0, 0, _REFUSE),
    ]
    return b"".join(struct.pack("=HBBI", *instruction) for instruction in instructions)
