# Statistics, correction, least squares, resonance fit, ring-down.
target_sources(coldtune_dsp PRIVATE)
