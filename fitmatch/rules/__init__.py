"""The rules, one module each, and the registry through which everything else uses them."""
