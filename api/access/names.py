"""Under which names the service may be called.

A foreign page can give its own name this machine's address and so reach in; it cannot do that under a
name, or a bare address, that is ours.

Flow     settings -> **names** -> application
"""

import ipaddress

from api.settings import Mode, Settings


def is_served(name: str, settings: Settings) -> bool:
    """Tell whether a Host header's name, without port and brackets, is served.

    Examples
    --------
    >>> is_served("192.168.1.7", Settings(mode="home")), is_served("192.168.1.7", Settings(mode="home_network"))
    (False, True)
    """
    if name in settings.served_names:
        return True
    return settings.mode is Mode.HOME_NETWORK and (name.endswith(".local") or _is_private_address(name))


def _is_private_address(name: str) -> bool:
    try:
        return ipaddress.ip_address(name).is_private
    except ValueError:
        return False
