"""Round-versus-oval chainring studies: from crank torque and angle to a defended answer."""

import os

__version__ = "0.1.0"

# Words of tables are Arrow's. Its own allocator, unless told otherwise before it is loaded, takes megabytes and keeps them.
os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
