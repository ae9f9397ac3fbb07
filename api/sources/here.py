"""The address of this machine in the house's network.

Flow     system -> **address** -> pairing
"""

import socket

_ANYWHERE = ("192.0.2.1", 9)
"""An address that is nobody's (RFC 5737); nothing is sent to it."""


def own_address() -> str:
    """Tell the address that others in the network find this machine at; its name where it has none.

    The system chooses the address from which it would send; no packet leaves.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ANYWHERE)
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()
