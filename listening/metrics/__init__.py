"""One sound to numbers with units.

Every function takes a one-channel `Sound` (`sound.channel(0)`) unless it says so.

- `measures.measure(sound)`: everything a study stores, one frozen result with stable keys.
- `level`: A, C, Z weighting; LAFmax, LASmax, LAeq, LAE, LCpeak; `bands`: third-octave and octave levels.
- `loudness_bs1770`: LUFS and dBTP of the whole file (channels are summed); fast.
- `loudness`: ISO 532-1, sone and phon; `sharpness`: DIN 45692, acum.
- `partials`: frequency, level, T60 with standard errors; `decay`: EDT, T20, T30, the study's decay.
- `onset`, `attack`, `flags`, `audibility`, `calibration`, `uncertainty`, `support`, `traces`.

Levels are dB re 20 µPa when the sound is calibrated, else dB re full scale (a sample value of 1; a full-scale
sine is -3.01 dB). A gain of g dB moves every level by g: matching needs `level.measure` or
`loudness_bs1770.measure` once.
"""
