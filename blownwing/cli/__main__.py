"""``python -m blownwing.cli`` is the ``blownwing`` command."""

from blownwing.cli import main

main()
