/* What the Lantern of the tests needs of the machine it runs on. */
#ifndef MACHINE_H
#define MACHINE_H

void machine_start(void);
void machine_wait_for_idle_line(void); /* until the port has sent all that there is */
void machine_end(void);

#endif
