/* Soil probes of the orchard: what is built into each. Invented; the keys are made up.
 * Build with -DPROBE=1, 2 or 3.
 */
#ifndef PROBES_H
#define PROBES_H

#define LORAWAN_REGION_EU868
#define LORAWAN_VERSION "1.0.4"
#define LORAWAN_CLASS CLASS_A

/* The orchard's join server, most significant octet first. */
static const uint8_t join_eui[8] = { 0x02, 0x00, 0x00, 0xFF, 0xFE, 0x00, 0xFF, 0xFF };

#if PROBE == 1
#define NODE_NAME "pear-row-3"
// least significant octet first
#define DEV_EUI { 0x07, 0x12, 0x00, 0xFE, 0xFF, 0x00, 0x00, 0x02 }
#define APP_KEY "5A0C11D2E37F4B8896A1C0DEFACE0147"
#elif PROBE == 2
#define NODE_NAME "quince-wall"
#define DEV_EUI { 0x02, 0x00, 0x00, 0xFF, 0xFE, 0x00, 0x12, 0x08 } // MSB
#define APP_KEY { 0x77, 0x1B, 0x02, 0x9C, 0xD4, 0xE8, 0x3F, 0x60, \
                  0xA5, 0x4D, 0x18, 0x2E, 0x9B, 0xC7, 0xF0, 0x33 }
#elif PROBE == 3
#define NODE_NAME "medlar-gate"
#define DEV_EUI "020000FF" "FE001209"
#define APP_KEY "\xC4\x19\x8E\x03\x6B\xF2\x57\xA0\x3D\x91\x0C\xE8\x74\x2F\xB6\x1D"
#endif

#endif
