"""Past tables: reading them, species models fitted from them, plots. For the command line only; the service never imports it."""
