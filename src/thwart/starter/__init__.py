"""What `thwart init` and `thwart run --print-unit` give to a user: real files, carried in the package."""
