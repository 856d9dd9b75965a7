"""A worker keeps its memory from one photo to the next.

Pictures are blocks of megabytes. glibc gives such blocks back to the system as soon as they are
free, and the system clears each page anew when it is asked for: 4,000 to 5,000 pages a photo,
a tenth of its processor time. Blocks above `LARGEST` (48 megapixels at full size) still go back.
"""

import contextlib
import ctypes

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
"""Names of `mallopt(3)`."""
LARGEST, SPARE = 32 * 1024**2, 128 * 1024**2
"""The largest block that is kept [bytes], and the most that is kept in all while it is free."""


def keep_memory() -> None:
    """Tell the C library of this process; one that is not glibc goes on as it is used to."""
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL(None)
        library.mallopt(M_MMAP_THRESHOLD, LARGEST)
        library.mallopt(M_TRIM_THRESHOLD, SPARE)
