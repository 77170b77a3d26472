/* fuzz_job.c: any bytes as a job file, and what is read of it compared and decided without photos. */
#include <stdlib.h>

#include "pinspan/forms.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    ps_context *ctx = ps_context_new();
    ps_forms_job *job = calloc(1, sizeof *job);
    ps_forms_result *result = calloc(1, sizeof *result);
    if (ctx && job && result && ps_forms_job_parse(ctx, (const char *)data, size, NULL, job) == PS_OK) {
        (void)ps_forms_decide(ctx, job, result);
        ps_forms_result_clear(result);
        ps_forms_job_clear(job);
    }
    free(result);
    free(job);
    ps_context_free(ctx);
    return 0;
}
