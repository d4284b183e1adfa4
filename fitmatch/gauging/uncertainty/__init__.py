"""How certain a clearance is, and what that says about its limits."""
