# FFT, stimuli, response estimation, capture health.
target_sources(coldtune_dsp PRIVATE)
