"""Before any box is opened: what more boxes would do, drawn many times over."""
