"""`python -m thwart`."""

from thwart.cli import main

main()
