# Estimates every case of the lives differential test with R's survival package.
# Usage: Rscript r_lives.R lives.csv windows.csv out_dir
# Needs: Debian r-base-core and r-cran-survival.
if (!requireNamespace("survival", quietly = TRUE)) quit(status = 3)
suppressPackageStartupMessages(library(survival))
args <- commandArgs(trailingOnly = TRUE)
lives <- read.csv(args[1])
windows <- read.csv(args[2])
out <- args[3]
curves <- list(); incidence <- list(); fits <- list(); means <- list()
for (k in unique(lives$case)) {
  d <- lives[lives$case == k, ]
  d$row <- seq_len(nrow(d))
  for (scale in c("plain", "log", "log-log")) {
    s <- survfit(Surv(entry, exit, ended) ~ 1, d, conf.type = scale)
    curves[[length(curves) + 1]] <- data.frame(
      case = k, scale = scale, time = s$time, at_risk = s$n.risk, survival = s$surv,
      error = s$surv * s$std.err, low = s$lower, high = s$upper,
      hazard = s$cumhaz, hazard_error = s$std.chaz
    )
  }
  d$state <- factor(d$cause, c("running", "land", "other"))
  # survfit 3.5-3 ignores `cluster` beside `id` here, so R's own influences are summed.
  m <- survfit(Surv(entry, exit, state) ~ 1, d, id = row, influence = TRUE)
  keep <- match(s$time, m$time)
  for (clustered in c(FALSE, TRUE)) {
    error <- if (clustered) {
      sapply(2:3, function(j) sqrt(colSums(rowsum(m$influence.pstate[, -1, j], d$hull)^2)))
    } else {
      m$std.err[, 2:3]
    }
    incidence[[length(incidence) + 1]] <- data.frame(
      case = k, clustered = as.integer(clustered), time = s$time,
      land = m$pstate[keep, 2], land_error = error[keep, 1],
      other = m$pstate[keep, 3], other_error = error[keep, 2]
    )
  }
  for (dist in c("weibull", "lognormal")) {
    control <- survreg.control(rel.tolerance = 1e-13, maxiter = 100)
    right <- survreg(Surv(exit, ended) ~ 1, d, dist = dist, control = control)
    between <- survreg(Surv(lower, upper, type = "interval2") ~ 1, d, dist = dist, control = control)
    for (fit in list(right, between)) {
      fits[[length(fits) + 1]] <- data.frame(
        case = k, dist = dist, data = if (identical(fit, right)) "right" else "between",
        location = unname(coef(fit)), scale = fit$scale, loglik = fit$loglik[1],
        location_error = sqrt(fit$var[1, 1]), scale_error = sqrt(fit$var[2, 2])
      )
    }
  }
}
for (k in unique(windows$case)) {
  d <- windows[windows$case == k, ]
  m <- survfit(Surv(start, stop, event) ~ 1, d, id = hull, cluster = hull, robust = TRUE)
  keep <- m$n.event > 0
  means[[length(means) + 1]] <- data.frame(
    case = k, time = m$time[keep], mean = m$cumhaz[keep], error = m$std.chaz[keep]
  )
}
save_table <- function(rows, name) {
  table <- do.call(rbind, rows)
  for (column in names(table)) {
    if (is.double(table[[column]])) table[[column]] <- sprintf("%.17g", table[[column]])
  }
  write.csv(table, file.path(out, paste0(name, ".csv")), row.names = FALSE, quote = FALSE)
}
save_table(curves, "curves")
save_table(incidence, "incidence")
save_table(fits, "fits")
save_table(means, "means")
