# Times R's survival package on the rows the benchmark wrote; prints seconds, then numbers.
# Usage: Rscript cox_speed.R fit rows.bin n p        | one coxph, best of three
#        Rscript cox_speed.R refits rows.bin n p hull.bin times.bin n_hulls n_refits
suppressPackageStartupMessages(library(survival))
args <- commandArgs(trailingOnly = TRUE)
read_ <- function(file, count) readBin(file, "double", count)
n <- as.integer(args[3]); p <- as.integer(args[4])
d <- as.data.frame(matrix(read_(args[2], n * (p + 3)), ncol = p + 3))
names(d) <- c("start", "stop", "event", paste0("x", seq_len(p)))
f <- as.formula(paste("Surv(start, stop, event) ~", paste0("x", seq_len(p), collapse = " + ")))
show_ <- function(v) cat(format(v, digits = 17, trim = TRUE), sep = "\n")
if (args[1] == "fit") {
  took <- sapply(1:3, function(i) system.time(fit <<- coxph(f, d, ties = "efron"))["elapsed"])
  show_(min(took))
  show_(unname(coef(fit)))
} else {
  hull <- read_(args[5], n); n_hulls <- as.integer(args[7]); n_refits <- as.integer(args[8])
  times <- matrix(read_(args[6], n_hulls * n_refits), ncol = n_refits)
  start_at <- coef(coxph(f, d, ties = "efron"))
  draws <- matrix(0, p, n_refits)
  took <- system.time(for (k in seq_len(n_refits)) {
    d$w <- times[hull + 1, k]
    draws[, k] <- coef(coxph(f, d[d$w > 0, ], weights = w, ties = "efron", init = start_at))
  })["elapsed"]
  show_(unname(took))
  show_(as.vector(draws))
}
