/* The Lantern on the PC. */
#include "machine.h"

#include <stdlib.h>

void machine_start(void) {}
void machine_end(void) { exit(0); }
