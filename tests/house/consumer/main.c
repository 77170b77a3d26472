/* A program of somebody else's that uses the installed library: the version on its only line. */
#include <pinspan/pinspan.h>
#include <stdio.h>

int main(void) {
    ps_context *ctx = ps_context_new();
    /* Refused before anything is written; it is here so that the linker has to find cairo and the rest. */
    ps_status status = ps_kit_write_pdf(ctx, PS_PAPER_A4, "");
    printf("%s\n", ps_version());
    ps_context_free(ctx);
    return status == PS_BAD_ARGUMENT ? 0 : 1;
}
