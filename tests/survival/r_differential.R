# Fits every case of the differential test with R's survival package.
# Usage: Rscript r_differential.R rows.csv cases.csv out_dir
# Needs: Debian r-base-core and r-cran-survival.
if (!requireNamespace("survival", quietly = TRUE)) quit(status = 3)
suppressPackageStartupMessages(library(survival))
args <- commandArgs(trailingOnly = TRUE)
rows <- read.csv(args[1])
cases <- read.csv(args[2])
out <- args[3]
# Stop far below the 1e-8 we compare at; the defaults stop 1e-5 short in a coefficient.
control <- coxph.control(eps = 1e-13, toler.chol = 1e-15, toler.inf = 1e-8, iter.max = 60)
fits <- list(); residuals_ <- list(); curves <- list(); tests <- list()
for (i in seq_len(nrow(cases))) {
  case <- cases[i, ]
  d <- rows[rows$case == case$case, ]
  x <- paste0("x", seq_len(case$p))
  right <- paste(x, collapse = " + ")
  if (case$strata) right <- paste(right, "+ strata(stratum)")
  f <- as.formula(paste("Surv(start, stop, event) ~", right))
  w <- if (case$weights) d$weight else rep(1, nrow(d))
  d$w <- w
  fit <- if (case$cluster) {
    coxph(f, d, weights = w, ties = case$ties, cluster = hull, control = control, x = TRUE)
  } else {
    # robust = FALSE: R would switch the sandwich on by itself at broken weights
    coxph(f, d, weights = w, ties = case$ties, control = control, x = TRUE, robust = FALSE)
  }
  naive <- if (case$cluster) fit$naive.var else fit$var
  fits[[i]] <- data.frame(
    case = case$case, j = seq_len(case$p), coef = unname(coef(fit)), se = sqrt(diag(naive)),
    robust = if (case$cluster) sqrt(diag(fit$var)) else NA,
    null = fit$loglik[1], loglik = fit$loglik[2], score = fit$score
  )
  score <- as.matrix(residuals(fit, type = "score"))
  residuals_[[i]] <- data.frame(
    case = case$case, row = d$row, martingale = residuals(fit, type = "martingale"),
    score_first = score[, 1], score_last = score[, case$p]
  )
  for (transform in c("km", "identity")) {
    z <- cox.zph(fit, transform, terms = FALSE)$table
    tests[[length(tests) + 1]] <- data.frame(
      case = case$case, transform = transform, j = seq_len(nrow(z)), chi2 = z[, "chisq"]
    )
  }
  if (!case$strata) {
    # one row like the second, held from before the record to its end
    new <- d[2, x, drop = FALSE]
    s <- survfit(fit, newdata = new, conf.type = "log-log")
    # and a path whose covariates change at the middle of the record
    mid <- case$mid
    path <- data.frame(rbind(d[2, x, drop = FALSE], d[3, x, drop = FALSE]),
                       start = c(0, mid), stop = c(mid, max(d$stop)), event = 0, id = 1, w = 1,
                       hull = 1)
    s2 <- survfit(fit, newdata = path, id = id)
    k <- length(s$time)
    last_event <- max(which(s$n.event > 0))
    curves[[length(curves) + 1]] <- data.frame(
      case = case$case, cumhaz = s$cumhaz[k], std = s$std.err[k], low = s$lower[k],
      high = s$upper[k], path_cumhaz = s2$cumhaz[length(s2$cumhaz)]
    )
  }
}
save_ <- function(parts, name) {
  d <- do.call(rbind, parts)
  num <- sapply(d, is.numeric)
  d[num] <- lapply(d[num], function(v) format(v, digits = 17, trim = TRUE))
  write.csv(d, file.path(out, name), row.names = FALSE, quote = FALSE)
}
save_(fits, "fits.csv"); save_(residuals_, "residuals.csv")
save_(curves, "curves.csv"); save_(tests, "tests.csv")
