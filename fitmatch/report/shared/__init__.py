"""What every form of an answer needs: numbers, layout, the states of a position."""
