"""Many draws of one task, worked on every core or on a cluster, and kept so that they can go on."""
