/* Between a game and the serial line: each file of ports/ is one way. Add one of them to the game's sources. */
#ifndef LOG_PORT_H
#define LOG_PORT_H

#include "playlog.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The game's recorder: interrupts of the port need it. */
extern struct playlog play;

/* What playlog_init() is given. */
extern const struct playlog_port log_port;

/* Call once a frame. Ports that send by interrupt have nothing to do in it. */
void log_port_send(void);

#ifdef __cplusplus
}
#endif

#endif
