/* Textbook influence matrix of horseshoe vortices, the measure that the package's kernel is held to.
 *
 * out[i * m + j] is the normal velocity at collocation point i of horseshoe j at unit circulation:
 * bound segment from a (port) to b (starboard) by the Biot-Savart cross-product formula and two
 * semi-infinite legs along +x in the single form (1 + x/r)/(4 pi h^2)
 * (Katz & Plotkin, "Low-Speed Aerodynamics", 2nd ed., 2001, section 10.4.5).
 */

#include <math.h>

void reference_influence(
    long n, long m,
    const double *restrict px, const double *restrict py, const double *restrict pz,
    const double *restrict nx, const double *restrict ny, const double *restrict nz,
    const double *restrict ax, const double *restrict ay, const double *restrict az,
    const double *restrict bx, const double *restrict by, const double *restrict bz,
    double *restrict out)
{
    const double scale = 0.25 / 3.14159265358979323846;
#pragma omp parallel for schedule(static)
    for (long i = 0; i < n; i++) {
        const double x = px[i], y = py[i], z = pz[i];
        const double ux = nx[i], uy = ny[i], uz = nz[i];
        double *restrict row = out + i * m;
        for (long j = 0; j < m; j++) {
            const double x1 = x - ax[j], y1 = y - ay[j], z1 = z - az[j];
            const double x2 = x - bx[j], y2 = y - by[j], z2 = z - bz[j];
            const double h1 = y1 * y1 + z1 * z1, h2 = y2 * y2 + z2 * z2;
            const double r1 = sqrt(x1 * x1 + h1), r2 = sqrt(x2 * x2 + h2);

            const double cx = y1 * z2 - z1 * y2;
            const double cy = z1 * x2 - x1 * z2;
            const double cz = x1 * y2 - y1 * x2;
            const double sx = bx[j] - ax[j], sy = by[j] - ay[j], sz = bz[j] - az[j];
            const double along = sx * (x1 / r1 - x2 / r2) + sy * (y1 / r1 - y2 / r2)
                               + sz * (z1 / r1 - z2 / r2);
            const double bound = along / (cx * cx + cy * cy + cz * cz);

            const double leg1 = (1.0 + x1 / r1) / h1, leg2 = (1.0 + x2 / r2) / h2;
            const double vx = bound * cx;
            const double vy = bound * cy + leg1 * z1 - leg2 * z2;
            const double vz = bound * cz - leg1 * y1 + leg2 * y2;
            row[j] = scale * (ux * vx + uy * vy + uz * vz);
        }
    }
}
