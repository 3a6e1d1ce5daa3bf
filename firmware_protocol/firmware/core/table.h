/* Constant tables. A chip with separate memories would copy them into its scarce RAM; there they
 * stay in flash and are read through these. */
#ifndef HL_TABLE_H
#define HL_TABLE_H

#if defined(__AVR__)
#include <avr/pgmspace.h>
#define HL_TABLE PROGMEM
#define HL_BYTE_AT(place) pgm_read_byte(place)
#define HL_WORD_AT(place) pgm_read_word(place)
#define HL_LONG_AT(place) pgm_read_dword(place)
#else
#define HL_TABLE
#define HL_BYTE_AT(place) (*(place))
#define HL_WORD_AT(place) (*(place))
#define HL_LONG_AT(place) (*(place))
#endif

#endif
