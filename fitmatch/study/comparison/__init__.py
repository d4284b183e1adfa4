"""Ways of choosing, targets, rules and boxes side by side."""
