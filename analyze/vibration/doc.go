// Package vibration looks at what a joint does after a jump of its command, and at rest: step
// response, ringing, frequency response, hunting.
//
// Angles are deg, time is s, frequency Hz; spectra are in the square of the caller's unit per Hz.
// Spectra and ring-downs want evenly spaced samples (filter.Even makes them). Sources: the levels
// of a step are those of IEC 60469 (10 % and 90 %); ringing after Rao, Mechanical Vibrations, and
// Hua and Sarkar, IEEE Trans. ASSP 38 (1990) 814-824; spectra after Welch, IEEE Trans. Audio and
// Electroacoustics 15 (1967) 70-73, and Bendat and Piersol, Random Data, chapter 9 (from memory).
package vibration
