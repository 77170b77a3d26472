/* pinspan.h: everything. */
#ifndef PINSPAN_PINSPAN_H
#define PINSPAN_PINSPAN_H
#include "pinspan/adjust.h"
#include "pinspan/base.h"
#include "pinspan/camera.h"
#include "pinspan/forms.h"
#include "pinspan/gap.h"
#include "pinspan/measure.h"
#include "pinspan/photo.h"
#include "pinspan/profile.h"
#include "pinspan/report.h"
#include "pinspan/rim.h"
#include "pinspan/target.h"
#endif
