"""What the studies are given: oil and bearings as they run, sizes between drawing limits, boxes not opened."""
