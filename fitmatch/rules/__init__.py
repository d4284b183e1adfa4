"""The rules: a module each, and the registry of them all, through which everything else goes."""
