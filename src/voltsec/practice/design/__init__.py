"""From formulas to a design: what a stage must do, its sizes, its worst corners, stages side by side."""
