"""Co-simulation units of FMI 2.0 and 3.0 as models, each in a worker process of its own.

The archive and its description are judged first, in the harness's own process and without running any of the unit's
code; FMPy, the extra ``fmi``, reads them. Then the unit is unpacked into a private folder, which goes with the session.
"""

from leverproof_adapters.fmi.opening import open_stand

__all__ = ["open_stand"]
