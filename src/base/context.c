/* The context: the message of the last failure. */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include "pinspan/base.h"

struct ps_context {
    char message[512];
};

ps_context *ps_context_new(void) {
    return calloc(1, sizeof(ps_context));
}

void ps_context_free(ps_context *ctx) {
    free(ctx);
}

const char *ps_context_message(const ps_context *ctx) {
    return ctx ? ctx->message : "";
}

ps_status ps_context_fail(ps_context *ctx, ps_status status, const char *format, ...) {
    if (ctx) {
        va_list arguments;
        va_start(arguments, format);
        (void)vsnprintf(ctx->message, sizeof ctx->message, format, arguments);
        va_end(arguments);
    }
    return status;
}
